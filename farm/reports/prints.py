"""Photos for paper: small prints, each with its caption."""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO

from PIL import Image

# Handwriting stays readable at 5 cm wide; a hundred of them are some 3 MB.
SIDE, QUALITY = 420, 65
# What Pillow raises for bytes that are no whole picture.
DAMAGED = (OSError, ValueError, SyntaxError, Image.DecompressionBombError)


@dataclass(frozen=True)
class Print:
    """A small JPEG; ``caption``: beside what it stands, with lot, day and who.

    ``image`` is empty where the photo cannot be read: its place and caption stay.
    """

    image: bytes
    width: int
    height: int
    caption: str


def prints(pictures: Iterable[tuple[bytes, str]]) -> tuple[Print, ...]:
    """Shrink pictures one after the other, so that the large ones never stand together."""
    return tuple(_print(image, caption) for image, caption in pictures)


def _print(image: bytes, caption: str) -> Print:
    try:
        with Image.open(BytesIO(image)) as opened:
            opened.draft("RGB", (SIDE, SIDE))
            opened.thumbnail((SIDE, SIDE))
            kept = BytesIO()
            opened.save(kept, "JPEG", quality=QUALITY)
            return Print(kept.getvalue(), opened.width, opened.height, caption)
    except DAMAGED:
        return Print(b"", SIDE, SIDE, caption)
