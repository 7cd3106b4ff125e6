"""Draw what the invented farm photographs: a block with mould on it, plainly a drawing."""

from functools import cache
from io import BytesIO
from random import Random

from PIL import Image, ImageDraw

from farm.actions.records.photos import Shrunk, shrunk

WIDE, HIGH = 480, 360
PAPER, PENCIL, BAG = "#f6f2e6", "#5b5348", "#ece5d2"
PATCHES = {"green mould": "#5f8f5a", "other mould": "#8a8378", "burst bag": "#b98d5e"}
WORDS = "A drawing, no photo: this farm is made up"


@cache
def block_with(cause: str) -> Shrunk:
    """Draw a block in its bag with a patch of this cause; the same cause, the same drawing."""
    picture = Image.new("RGB", (WIDE, HIGH), PAPER)
    pen, dice = ImageDraw.Draw(picture), Random(cause)
    pen.polygon([(190, 80), (175, 25), (305, 25), (290, 80)], BAG, PENCIL, 3)
    pen.rounded_rectangle((120, 80, 360, 300), 26, BAG, PENCIL, 4)
    for _ in range(90):
        _dot(pen, dice, around=(240, 190), spread=(95, 85), colour="#fffdf6")
    for _ in range(130):
        _dot(pen, dice, around=(290, 235), spread=(42, 36), colour=PATCHES.get(cause, "#8a8378"))
    pen.text((120, 312), cause, PENCIL, font_size=20)
    pen.text((20, 338), WORDS, PENCIL, font_size=16)
    kept = BytesIO()
    picture.save(kept, "PNG")
    return shrunk(kept.getvalue())


def _dot(
    pen: ImageDraw.ImageDraw,
    dice: Random,
    *,
    around: tuple[int, int],
    spread: tuple[int, int],
    colour: str,
) -> None:
    """Dab a spot near a place, and inside the bag."""
    x, y = (
        round(middle + dice.uniform(-1, 1) * wide)
        for middle, wide in zip(around, spread, strict=True)
    )
    size = dice.randint(2, 7)
    pen.ellipse((x - size, y - size, x + size, y + size), colour)
