"""Files that people send: how large they may be, and what they are by their content.

A name and a media type are the sender's word; what a file begins with, and whether it opens, are
looked at instead.
"""

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from typing import Any
from zipfile import BadZipFile, ZipFile

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

KILO, MEGA = 1_000, 1_000_000
# A spreadsheet is a packed file; a few kB can be made to unpack to gigabytes.
MOST_UNPACKED_BYTES = 100 * MEGA
# What a HEIF picture says it is, behind its first eight bytes (ISO/IEC 23008-12).
HEIF_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"avif")


def checked(file: "UploadedFile[Any]", kind: "FileKind") -> bytes:
    """Read a file that is of a kind and not too large; its size is what arrived."""
    size = file.size or 0
    if size > kind.largest_bytes:
        raise ValidationError(
            f"{kind.name} has {_words(size)}, {_words(kind.largest_bytes)} at most. "
            f"{kind.if_too_large}"
        )
    content: bytes = file.read()
    if not kind.holds(content):
        raise ValidationError(kind.if_another)
    return content


@dataclass(frozen=True)
class FileKind:
    """``name`` begins a sentence; ``holds`` looks at the content."""

    name: str
    largest_bytes: int
    holds: Callable[[bytes], bool]
    if_too_large: str
    if_another: str


def _is_picture(content: bytes) -> bool:
    return (
        content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"))
        or (content.startswith(b"RIFF") and content[8:12] == b"WEBP")
        or (content[4:8] == b"ftyp" and content[8:12] in HEIF_BRANDS)
    )


def _is_text(content: bytes) -> bool:
    """Loggers write UTF-8, UTF-16 with its mark, or a national set; none has empty bytes else."""
    return content.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" not in content


def _is_workbook(content: bytes) -> bool:
    try:
        with ZipFile(BytesIO(content)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
            parts = set(packed.namelist())
    except BadZipFile:
        return False
    return {"[Content_Types].xml", "xl/workbook.xml"} <= parts and unpacked <= MOST_UNPACKED_BYTES


def _words(size: int) -> str:
    return f"{-(-size // KILO)} kB" if size < MEGA * 10 else f"{size // MEGA} MB"


PHOTO = FileKind(
    "The photo",
    12 * MEGA,
    _is_picture,
    "Take a smaller one.",
    "This is not a photo that can be read. Take or choose a JPEG, PNG, WebP or HEIC.",
)
READINGS = FileKind(
    "The file",
    2 * MEGA,
    _is_text,
    "Export the run alone.",
    "This is no text. Export the readings as CSV.",
)
# The file travels once more with the yes, as text; a form may hold 2.5 MB.
WORKBOOK = FileKind(
    "The workbook",
    1_500 * KILO,
    _is_workbook,
    "Split it into several workbooks.",
    "This is no workbook that can be read. Save it as .xlsx and choose that.",
)
