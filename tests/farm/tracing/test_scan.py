"""A photo of a label leads on with its code; one without says what to do."""

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from PIL import Image

from farm.gs1 import link_of_lot
from farm.pages.uploads import PHOTO
from farm.queries.stock import lot_by_code
from farm.queries.tracing.labels import Label, labels_of
from farm.queries.tracing.reading_labels import NoCodeError, code_in, code_on_photo
from farm.reports.tracing.label_sheets import SHEETS
from farm.reports.tracing.labels import labels_pdf
from tests.farm.filled import text
from tests.farm.goods import crop
from tests.farm.photos import by_hand, jpeg, turned
from tests.farm.printing import needs_pdftoppm, rendered
from tests.farm.world import World

ADDRESS = "https://alder-lane.example/lots/"


def label_of(world: World, code: str = "") -> Label:
    lot = lot_by_code(code or crop(world).code)
    assert lot
    return labels_of([lot], world.farm, ADDRESS)[0]


def printed(label: Label, folder: Path) -> Image.Image:
    (page,) = rendered(labels_pdf([label], SHEETS["62x29"]), folder)
    return page


def blank() -> bytes:
    return jpeg(Image.new("RGB", (800, 600), (90, 120, 90)))


def send(client: Client, content: bytes, target: str = "trace") -> HttpResponse:
    file = SimpleUploadedFile("label.jpg", content, content_type="image/jpeg")
    return client.post("/scan/", {"photo": file, "target": target})  # type: ignore[return-value]


@needs_pdftoppm
@pytest.mark.parametrize(("degrees", "scale"), [(0, 1.0), (7, 0.8), (-23, 1.5), (90, 0.7)])
def test_a_turned_and_scaled_photo_is_read(
    world: World, tmp_path: Path, degrees: int, scale: float
) -> None:
    label = label_of(world)

    assert code_on_photo(turned(printed(label, tmp_path), degrees, scale)) == label.code


@needs_pdftoppm
@pytest.mark.parametrize("degrees", [0, 11, -30])
def test_a_photo_from_aslant_and_out_of_focus_is_read(
    world: World, tmp_path: Path, degrees: int
) -> None:
    label = label_of(world)

    assert code_on_photo(by_hand(printed(label, tmp_path), degrees)) == label.code


@needs_pdftoppm
def test_a_label_that_carries_a_gtin_leads_to_its_lot(
    owner: Client, world: World, tmp_path: Path
) -> None:
    """As GS1 Digital Link writes a lot: 10 after 01, on anybody's domain."""
    label = label_of(world)
    linked = link_of_lot("https://shop.example", "9501101530003", label.code)
    sent = send(owner, turned(printed(replace(label, scanned=linked), tmp_path), 5), "lot")

    assert sent["Location"] == f"/lots/{label.code}/"


@needs_pdftoppm
@pytest.mark.parametrize(
    ("target", "address"),
    [("lot", "/lots/{}/"), ("trace", "/trace/{}/"), ("cost", "/cost/?code={}")],
)
def test_a_photo_leads_to_the_page_that_asked(
    owner: Client, world: World, tmp_path: Path, target: str, address: str
) -> None:
    label = label_of(world)
    sent = send(owner, turned(printed(label, tmp_path), 5), target)

    assert (sent.status_code, sent["Location"]) == (302, address.format(label.code))


def test_a_photo_without_a_code_says_what_to_do(owner: Client, world: World) -> None:
    sent = send(owner, blank())

    assert sent.status_code == 422
    assert "No square code was found in the photo" in text(sent)


def test_a_file_that_is_no_photo_is_refused(owner: Client, world: World) -> None:
    sent = send(owner, b"%PDF-1.7 not a photo")

    assert sent.status_code == 422
    assert "not a photo that can be read" in text(sent)


@needs_pdftoppm
def test_a_code_that_no_lot_has_comes_with_near_ones(
    owner: Client, world: World, tmp_path: Path
) -> None:
    label = label_of(world)
    wrong = label.code[:-1] + ("2" if label.code[-1] != "2" else "3")
    sent = send(owner, turned(printed(replace(label, scanned=wrong), tmp_path), 0), "labels")

    assert sent.status_code == 422
    assert f"/labels/?lot={label.code}" in text(sent)


def test_a_scan_leads_nowhere_else(owner: Client, world: World) -> None:
    assert send(owner, blank(), "https://elsewhere.example").status_code == 422


def test_too_large_a_photo_is_refused(owner: Client, world: World) -> None:
    said = text(send(owner, blank() + bytes(PHOTO.largest_bytes)))

    assert "The photo has 12 MB, 12 MB at most" in said


def test_a_stranger_and_a_forged_form_are_refused(stranger: Client, owner: Client) -> None:
    forged = Client(enforce_csrf_checks=True)
    forged.cookies = owner.cookies

    assert send(stranger, blank()).status_code == 302
    assert send(forged, blank()).status_code == 403


def test_a_helper_may_read_labels(helper: Client) -> None:
    assert helper.get("/scan/").status_code == 200


@pytest.mark.parametrize("address", ["/trace/", "/labels/", "/take-away/", "/cost/", "/drills/"])
def test_pages_that_scan_take_a_photo_without_a_script(owner: Client, address: str) -> None:
    assert 'action="/scan/" enctype="multipart/form-data"' in text(owner.get(address))


@pytest.mark.parametrize(
    "said",
    [
        "k7m-4q",
        "K7M4Q",
        "https://a.example/lots/K7M4Q/",
        "https://a.example/lots/k7m4q?x=1#y",
        "https://id.gs1.org/01/09501101530003/10/K7M4Q?15=261231",
        "https://a.example/01/09501101530003/10/k7m4q/21/7",
    ],
)
def test_the_code_is_taken_out_of_what_a_label_says(said: str) -> None:
    assert code_in(said) == "K7M4Q"


def test_a_picture_of_too_many_points_is_refused() -> None:
    """8,000 by 8,000 are 64 million, of one grey: few bytes, and far more than any telephone."""
    kept = BytesIO()
    Image.new("L", (8000, 8000)).save(kept, "PNG")

    with pytest.raises(NoCodeError, match="too many"):
        code_on_photo(kept.getvalue())
