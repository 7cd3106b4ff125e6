"""Photos of printed labels, as a telephone in a hand takes them, made of the page itself."""

from io import BytesIO

from PIL import Image, ImageFilter

GREY = (120, 120, 120)
# How far each corner is pulled in, as shares of width and height: seen from the lower left.
ASLANT = ((0.10, 0.06), (0.02, 0.12), (0.0, 0.03), (0.05, 0.0))


def jpeg(picture: Image.Image) -> bytes:
    kept = BytesIO()
    picture.save(kept, "JPEG", quality=80)
    return kept.getvalue()


def turned(page: Image.Image, degrees: int, scale: float = 1.0) -> bytes:
    """The label turned on a grey table, larger or smaller."""
    seen = page.convert("RGB").rotate(degrees, expand=True, fillcolor=GREY)
    return jpeg(seen.resize((int(seen.width * scale), int(seen.height * scale))))


def by_hand(page: Image.Image, degrees: int = 11) -> bytes:
    """The label on a table, from aslant, turned, a little out of focus, darker to one side."""
    table = Image.new("RGB", (page.width * 2, page.height * 2), GREY)
    table.paste(page.convert("RGB"), (page.width // 2, page.height // 2))
    seen = _aslant(table).rotate(degrees, fillcolor=GREY)
    shade = Image.linear_gradient("L").resize(seen.size).point(lambda level: 150 + level * 2 // 5)
    dark = Image.composite(seen, Image.new("RGB", seen.size), shade)
    return jpeg(dark.filter(ImageFilter.GaussianBlur(1.5)))


def _aslant(picture: Image.Image) -> Image.Image:
    """Pull the corners in: a quadrilateral around the page is spread over the whole picture.

    Pillow maps the four points, from the upper left round by the lower left, onto the corners.
    """
    width, height = picture.size
    corners = zip(ASLANT, ((0, 0), (0, 1), (1, 1), (1, 0)), strict=True)
    points = [
        value
        for (dx, dy), (right, low) in corners
        for value in (
            (right + (-dx if right else dx)) * width,
            (low + (-dy if low else dy)) * height,
        )
    ]
    quad = Image.Transform.QUAD
    return picture.transform(picture.size, quad, points, Image.Resampling.BICUBIC)
