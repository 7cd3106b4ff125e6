"""A photo that is damaged in the database takes no page and no paper down with it."""

from pathlib import Path

import pytest

from farm.actions.records.photos import add_photo
from farm.demo.drawn import block_with
from farm.models import Photo
from tests.conftest import signed_in
from tests.farm.kept import cleaned
from tests.farm.records.test_binder import ALL_DAYS, needs_pdftotext, words_of_pdf
from tests.farm.world import World


@needs_pdftotext
@pytest.mark.parametrize("damage", [b"", b"no picture", b"cut off"])
def test_a_photo_that_cannot_be_read_is_said_in_its_place_and_the_others_stand(
    world: World, tmp_path: Path, damage: bytes
) -> None:
    record = cleaned(world)
    for cause in ("green mould", "burst bag"):
        add_photo(world.owner, record, block_with(cause))
    damaged = Photo.objects.earliest("pk")
    damaged.image = bytes(damaged.image)[:900] if damage == b"cut off" else damage
    damaged.save()
    owner = signed_in(world.owner)
    said = {"first": str(ALL_DAYS.first), "last": str(ALL_DAYS.last), "file": "pdf"}

    answer = owner.get("/records/binder/", said)

    words = words_of_pdf(answer.content, tmp_path)
    assert (words.count("photo cannot be read"), words.count(f"No. {record.pk}")) == (1, 2)
    assert answer.content.count(b"/DCTDecode") == 1
    pages = (f"/records/{record.kind}/{record.pk}/", f"/photos/{damaged.pk}.jpg")
    assert [owner.get(page).status_code for page in pages] == [200, 200]
