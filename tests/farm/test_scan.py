"""A photo of a label leads on with its code; one without says what to do."""

from io import BytesIO
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from PIL import Image

from farm.pages import scan
from farm.queries.labels import labels_of
from farm.queries.reading_labels import NoCodeError, code_in, code_on_photo
from farm.queries.stock import lot_by_code
from farm.reports.labels import labels_pdf
from farm.reports.sheets import SHEETS
from tests.farm.filled import text
from tests.farm.goods import crop
from tests.farm.printing import needs_pdftoppm, rendered
from tests.farm.world import World

ADDRESS = "https://alder-lane.example/lots/"


def photo(
    world: World, folder: Path, *, turned: int = 0, scale: float = 1.0, code: str = ""
) -> bytes:
    """A label as a telephone sees it: printed, turned on a grey table, smaller, as a JPEG."""
    lot = lot_by_code(code or crop(world).code)
    assert lot
    (page,) = rendered(labels_pdf(labels_of([lot], world.farm, ADDRESS), SHEETS["62x29"]), folder)
    seen = page.convert("RGB").rotate(turned, expand=True, fillcolor=(120, 120, 120))
    return jpeg(seen.resize((int(seen.width * scale), int(seen.height * scale))))


def jpeg(picture: Image.Image) -> bytes:
    kept = BytesIO()
    picture.save(kept, "JPEG", quality=80)
    return kept.getvalue()


def blank() -> bytes:
    return jpeg(Image.new("RGB", (800, 600), (90, 120, 90)))


def send(client: Client, content: bytes, target: str = "trace") -> HttpResponse:
    file = SimpleUploadedFile("label.jpg", content, content_type="image/jpeg")
    return client.post("/scan/", {"photo": file, "target": target})  # type: ignore[return-value]


@needs_pdftoppm
@pytest.mark.parametrize(("turned", "scale"), [(0, 1.0), (7, 0.8), (-23, 1.5), (90, 0.7)])
def test_a_turned_and_scaled_photo_is_read(
    world: World, tmp_path: Path, turned: int, scale: float
) -> None:
    lot = crop(world)

    assert (
        code_on_photo(photo(world, tmp_path, turned=turned, scale=scale, code=lot.code)) == lot.code
    )


@needs_pdftoppm
@pytest.mark.parametrize(
    ("target", "address"),
    [("lot", "/lots/{}/"), ("trace", "/trace/?code={}"), ("reach", "/reach/?codes={}")],
)
def test_a_photo_leads_to_the_page_that_asked(
    owner: Client, world: World, tmp_path: Path, target: str, address: str
) -> None:
    lot = crop(world)
    sent = send(owner, photo(world, tmp_path, turned=5, code=lot.code), target)

    assert (sent.status_code, sent["Location"]) == (302, address.format(lot.code))


def test_a_photo_without_a_code_says_what_to_do(owner: Client, world: World) -> None:
    sent = send(owner, blank())

    assert sent.status_code == 422
    assert "No square code was found in the photo" in text(sent)


def test_a_file_that_is_no_photo_is_refused(owner: Client, world: World) -> None:
    sent = send(owner, b"%PDF-1.7 not a photo")

    assert sent.status_code == 422
    assert "not a photo that can be read" in text(sent)


def test_a_code_that_no_lot_has_comes_with_near_ones(
    owner: Client, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = crop(world)
    wrong = lot.code[:-1] + ("2" if lot.code[-1] != "2" else "3")
    monkeypatch.setattr(scan, "code_on_photo", lambda content: wrong)
    sent = send(owner, blank(), "reach")

    assert sent.status_code == 422
    assert f"/reach/?codes={lot.code}" in text(sent)


def test_a_scan_leads_nowhere_else(owner: Client, world: World) -> None:
    assert send(owner, blank(), "https://elsewhere.example").status_code == 422


def test_too_large_a_photo_is_refused(
    owner: Client, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scan, "LARGEST_BYTES", 1000)

    assert "at most" in text(send(owner, blank()))


def test_a_stranger_and_a_forged_form_are_refused(stranger: Client, owner: Client) -> None:
    forged = Client(enforce_csrf_checks=True)
    forged.cookies = owner.cookies

    assert send(stranger, blank()).status_code == 302
    assert send(forged, blank()).status_code == 403


def test_a_helper_may_read_labels(helper: Client) -> None:
    assert helper.get("/scan/").status_code == 200


@pytest.mark.parametrize(
    "address", ["/trace/", "/reach/", "/labels/", "/key-data/", "/events/", "/cost/", "/drills/"]
)
def test_pages_that_scan_take_a_photo_without_a_script(owner: Client, address: str) -> None:
    assert 'action="/scan/" enctype="multipart/form-data"' in text(owner.get(address))


@pytest.mark.parametrize(
    "said",
    ["k7m-4q", "K7M4Q", "https://a.example/lots/K7M4Q/", "https://a.example/lots/k7m4q?x=1#y"],
)
def test_the_code_is_taken_out_of_what_a_label_says(said: str) -> None:
    assert code_in(said) == "K7M4Q"


def test_a_picture_of_too_many_points_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("farm.queries.reading_labels.MOST_PIXELS", 100)

    with pytest.raises(NoCodeError, match="too many"):
        code_on_photo(blank())
