"""Photos beside entries and records: small, bare of what a camera writes, seen by one right."""

from io import BytesIO
from random import Random

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from farm.actions.records.photos import MOST_BYTES, MOST_PHOTOS, add_photo, remove_photo, shrunk
from farm.models import Photo, Role
from ledger.errors import Malformed
from ledger.models import Entry
from tests.conftest import person_in_role, signed_in
from tests.farm.filled import text
from tests.farm.world import World, picked

ORIENTATION, MAKER = 0x0112, 0x010F


@pytest.fixture
def entry(world: World) -> Entry:
    picked(world)
    return Entry.objects.get(kind="pick")


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def jpeg(width: int = 60, height: int = 40, *, colour: str = "white", turned: int = 1) -> bytes:
    """A photo as a camera writes it: with its maker, a comment and how it was held."""
    exif = Image.Exif()
    exif[MAKER], exif[ORIENTATION] = "Acme Cameras", turned
    written = BytesIO()
    Image.new("RGB", (width, height), colour).save(
        written, "JPEG", exif=exif, comment=b"tent B, behind the house"
    )
    return written.getvalue()


def noise(side: int) -> bytes:
    """The hardest picture to make small: every pixel by chance."""
    written = BytesIO()
    Image.frombytes("RGB", (side, side), Random(6).randbytes(side * side * 3)).save(written, "PNG")
    return written.getvalue()


def sent(content: bytes) -> dict[str, SimpleUploadedFile]:
    return {"photo": SimpleUploadedFile("wall.jpg", content, "image/jpeg")}


def test_a_photo_is_kept_beside_its_entry_and_shown(client: Client, entry: Entry) -> None:
    client.post(f"/entries/{entry.seq}/photo/", sent(jpeg()))

    photo = Photo.objects.get()
    assert (photo.entry, photo.width, photo.height) == (entry, 60, 40)
    assert f'src="/photos/{photo.pk}.jpg"' in text(client.get(f"/entries/{entry.seq}/"))
    shown = client.get(f"/photos/{photo.pk}.jpg")
    assert Image.open(BytesIO(shown.content)).format == "JPEG"


def test_nothing_that_the_camera_wrote_is_kept() -> None:
    image = shrunk(jpeg()).image

    assert b"Acme" not in image and b"tent B" not in image
    assert not Image.open(BytesIO(image)).getexif()


def test_a_photo_that_was_held_upright_stands_upright() -> None:
    # Orientation 6: turned by a quarter, so its sides change places.
    small = shrunk(jpeg(60, 40, turned=6))

    assert (small.width, small.height) == (40, 60)


def test_even_a_hard_picture_is_made_small() -> None:
    small = shrunk(noise(1500))

    assert len(small.image) <= MOST_BYTES
    assert max(small.width, small.height) >= 800


def test_it_refuses_what_is_no_photo_whatever_its_name_says(client: Client, entry: Entry) -> None:
    answer = client.post(
        f"/entries/{entry.seq}/photo/", sent(b"<svg onload=alert(1)>"), follow=True
    )

    assert "not a photo that can be read" in text(answer)
    assert not Photo.objects.exists()


def test_it_refuses_a_photo_that_is_cut_off() -> None:
    with pytest.raises(Malformed, match="cannot be opened"):
        shrunk(jpeg(400, 400)[:200])


def test_the_same_photo_sent_twice_is_kept_once(client: Client, entry: Entry) -> None:
    for _ in range(2):
        client.post(f"/entries/{entry.seq}/photo/", sent(jpeg()))

    assert Photo.objects.count() == 1


def test_it_refuses_one_photo_too_many(world: World, entry: Entry) -> None:
    for width in range(MOST_PHOTOS):
        add_photo(world.owner, entry, shrunk(jpeg(20 + width)))

    with pytest.raises(Malformed, match="Remove one first"):
        add_photo(world.owner, entry, shrunk(jpeg(99)))


def test_a_photo_taken_out_leaves_that_there_was_one(client: Client, entry: Entry) -> None:
    client.post(f"/entries/{entry.seq}/photo/", sent(jpeg()))
    photo = Photo.objects.get()

    client.post(f"/photos/{photo.pk}/take-out/")

    photo.refresh_from_db()
    assert (bytes(photo.image), photo.removed_by is None) == (b"", False)
    assert client.get(f"/photos/{photo.pk}.jpg").status_code == 404
    assert "taken out" in text(client.get(f"/entries/{entry.seq}/"))


def test_only_who_may_change_the_farm_takes_a_photo_out(world: World, entry: Entry) -> None:
    photo = add_photo(world.owner, entry, shrunk(jpeg()))
    answer = signed_in(world.helper).post(f"/photos/{photo.pk}/take-out/")

    assert answer.status_code == 403
    assert Photo.objects.get().removed_at is None


def test_a_photo_is_seen_by_the_right_to_its_entry(world: World, entry: Entry) -> None:
    photo = add_photo(world.owner, entry, shrunk(jpeg()))
    seller = signed_in(person_in_role(Role.SELLER, "sam"))

    assert signed_in(world.helper).get(f"/photos/{photo.pk}.jpg").status_code == 200
    # A pick is not a seller's: that there is a photo of it is none of theirs either.
    assert seller.get(f"/photos/{photo.pk}.jpg").status_code == 404
    assert Client().get(f"/photos/{photo.pk}.jpg").status_code == 302


def test_a_removed_photo_can_be_sent_again(world: World, entry: Entry) -> None:
    small = shrunk(jpeg())
    remove_photo(add_photo(world.owner, entry, small), world.owner)

    assert add_photo(world.owner, entry, small).removed_at is None
