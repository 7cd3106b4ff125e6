"""Read the lot code off a photo of a label: its square code, as it is or in an address.

The photo comes from a telephone: large, turned, a little out of focus. Nothing of it is kept.
"""

from io import BytesIO
from urllib.parse import urlsplit

import zxingcpp
from PIL import Image, ImageOps, UnidentifiedImageError

from farm.gs1 import lot_in_link
from ledger.codes import is_code, tidy

# More than any telephone takes; what is larger would only fill the memory.
MOST_PIXELS = 60_000_000
# A square code of a label fills enough of a photo to be read at this size, and quickly.
LONG_SIDE = 2400
SQUARE = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
KINDS = ("JPEG", "PNG", "WEBP", "GIF", "BMP")


class NoCodeError(LookupError):
    """The photo says no lot code; the message says why and what to do."""


def code_on_photo(content: bytes) -> str:
    """Return the tidied code on a photo; a valid lot code first, if several are seen."""
    picture = _opened(content)
    found = zxingcpp.read_barcodes(picture, formats=SQUARE)
    codes = [code for code in (code_in(one.text) for one in found) if code]
    if not codes:
        raise NoCodeError(
            "No square code was found in the photo. Take it closer, straight on and in good "
            "light, or type the code that stands beside the square."
        )
    valid = [code for code in codes if is_code(code)]
    if len(set(valid)) > 1:
        raise NoCodeError(
            f"Several labels are in the photo: {', '.join(dict.fromkeys(valid))}. Take one label "
            "alone, or type the code."
        )
    return (valid or codes)[0]


def code_in(text: str) -> str:
    """Take the code out of what a label says: bare, last in an address, or after 10 in GS1's."""
    parts = [part for part in urlsplit(text.strip()).path.split("/") if part]
    return tidy(lot_in_link(parts) or parts[-1]) if parts else ""


def _opened(content: bytes) -> Image.Image:
    """Open a photo upright in grey, no larger than is needed to read it."""
    try:
        with Image.open(BytesIO(content), formats=KINDS) as photo:
            if photo.width * photo.height > MOST_PIXELS:
                raise NoCodeError(
                    f"The photo has {photo.width} × {photo.height} points, too many to look "
                    "through. Take a smaller one."
                )
            photo.draft("L", (LONG_SIDE, LONG_SIDE))
            picture = ImageOps.exif_transpose(photo).convert("L")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError) as fault:
        raise NoCodeError(
            "The file is not a photo that can be read here. Take a photo as JPEG or PNG, or type "
            "the code."
        ) from fault
    picture.thumbnail((LONG_SIDE, LONG_SIDE))
    return picture
