"""Photos beside entries and records: shrunk, without what a camera wrote into them, kept once."""

from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO

from django.db import transaction
from django.utils import timezone
from PIL import Image, ImageOps, UnidentifiedImageError

from farm.models import Person, Photo, Record
from ledger.errors import Malformed
from ledger.models import Entry

READ = ("JPEG", "PNG", "WEBP")
# A telephone's photo has 12 to 50 million; a small file may unpack to far more.
MOST_PIXELS = 80_000_000
# Handwriting on a sheet stays readable, and a year of daily photos under 110 MB.
MOST_BYTES = 300_000
SIDES = (1600, 1280, 1024, 800)
QUALITIES = (82, 70, 58)
MOST_PHOTOS = 6


@dataclass(frozen=True)
class Shrunk:
    """A JPEG of at most 300 kB."""

    image: bytes
    width: int
    height: int

    @property
    def digest(self) -> str:
        return sha256(self.image).hexdigest()


@transaction.atomic
def add_photo(by: Person, to: Entry | Record, photo: Shrunk) -> Photo:
    """Keep a photo beside an entry or a record; the same one again is kept once."""
    beside = {"entry": to} if isinstance(to, Entry) else {"record": to}
    there = Photo.objects.filter(**beside, removed_at=None)
    known = there.filter(digest=photo.digest).first()
    if known is not None:
        return known
    if there.count() >= MOST_PHOTOS:
        raise Malformed(
            f"{str(to).capitalize()} has {MOST_PHOTOS} photos, which is the most. Remove one first."
        )
    return Photo.objects.create(
        **beside,
        added_at=timezone.now(),
        by=by,
        image=photo.image,
        width=photo.width,
        height=photo.height,
        digest=photo.digest,
    )


def remove_photo(photo: Photo, by: Person) -> None:
    """Take the picture out for good; that there was one, by whom and its digest stay."""
    if photo.removed_at is None:
        photo.image, photo.removed_at, photo.removed_by = b"", timezone.now(), by
        photo.save(update_fields=["image", "removed_at", "removed_by"])


def shrunk(content: bytes) -> Shrunk:
    """Make a small upright JPEG of a photo, without place, time or device: its pixels alone."""
    try:
        with Image.open(BytesIO(content), formats=READ) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise Malformed("The photo has more than 80 million pixels. Take a smaller one.")
            opened.draft("RGB", (SIDES[0], SIDES[0]))
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError) as refusal:
        raise Malformed(
            "The photo cannot be opened. Take it as JPEG, or choose a PNG or WebP."
        ) from refusal
    picture.info = {}  # a comment would be written along
    return _fitting(picture)


def _fitting(picture: Image.Image) -> Shrunk:
    """Try sides and qualities, the best first, until the file is small enough."""
    for side in SIDES:
        picture.thumbnail((side, side))
        for quality in QUALITIES:
            written = BytesIO()
            picture.save(written, "JPEG", quality=quality, optimize=True)
            if written.tell() <= MOST_BYTES:
                return Shrunk(written.getvalue(), picture.width, picture.height)
    raise Malformed("The photo stays larger than 300 kB however it is shrunk. Take a plainer one.")
