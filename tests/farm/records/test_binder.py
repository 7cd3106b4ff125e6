"""The binder: what is in it, what it declares missing, who sees what; its PDF and its sheet."""

import io
import shutil
import subprocess
from datetime import date, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from openpyxl import load_workbook

from farm.actions.growing.checks import check
from farm.actions.growing.runs import sterilise
from farm.actions.records.photos import add_photo, remove_photo
from farm.actions.records.records import review
from farm.demo.drawn import block_with
from farm.models import Record, Role
from farm.records import BY_SLUG as KINDS
from farm.records import ILLNESS, STORE
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import Span, binder_cover, binder_report, sections
from farm.reports.report_heading import made_for
from farm.reports.rows import Report, Table
from farm.reports.xlsx import workbook_bytes
from tests.conftest import person_in_role, signed_in
from tests.farm.kept import CLEAN, PIN, cleaned, keep, out_of_limits, pinned, read_store
from tests.farm.world import World, filled_bags, grow_blocks, picked

SPAN = Span(date(2026, 9, 1), date(2026, 12, 31))
ALL_DAYS = Span(date(2026, 1, 1), date(2030, 12, 31))
needs_pdftotext = pytest.mark.skipif(
    not shutil.which("pdftotext"), reason="pdftotext (poppler-utils) is not on this machine"
)


def binder(world: World, span: Span = SPAN) -> Report:
    return binder_report(span, world.farm, made_for(world.farm, "olive", timezone.now()))


def table(report: Report, title: str) -> Table:
    return next(one for one in report.tables if one.title == title)


def column(found: Table, name: str) -> list[object]:
    at = [one.name for one in found.columns].index(name)
    return [row[at] for row in found.rows]


def words_of_pdf(content: bytes, folder: Path) -> str:
    (folder / "binder.pdf").write_bytes(content)
    command = ["pdftotext", "-layout", "binder.pdf", "-"]
    return subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True).stdout


# --- what is in it ---------------------------------------------------------------------------


def test_it_says_whose_records_they_are(world: World) -> None:
    assert binder(world).farm_name == "Alder Lane, Lowfield"


def test_a_record_stands_with_its_times_and_its_signatures(world: World) -> None:
    review(cleaned(world, by=world.helper), world.owner)
    found = table(binder(world), "Cleaning")

    assert column(found, "Signed") == ["HU"]
    assert str(column(found, "Second signature")[0]).startswith("OL, ")
    assert column(found, "Method") == [CLEAN["method"]]
    assert str(column(found, "Done")[0]) == "2026-09-07 11:00:00+02:00"  # 9:00 UTC in Madrid


def test_what_was_corrected_is_struck_through_and_kept(world: World) -> None:
    wrong = read_store(world, 4_800)
    right = read_store(world, 3_800, corrects=wrong, note="misread")
    found = table(binder(world), "Store temperature")

    assert (column(found, "No."), found.struck) == ([str(wrong.pk), str(right.pk)], (0,))


def test_records_of_other_days_are_left_out(world: World) -> None:
    cleaned(world)
    world.wait(2)
    inside = cleaned(world)
    day = inside.happened_on

    assert column(table(binder(world, Span(day, day)), "Cleaning"), "No.") == [str(inside.pk)]


def test_a_missing_day_is_declared(world: World) -> None:
    read_store(world, 3_000)
    world.wait(2)
    last = read_store(world, 3_000).happened_on
    missing = table(binder(world, Span(date(2026, 9, 1), last)), "Missing")

    assert column(missing, "What is missing") == ["no store temperature in Fridge on 8 Sep 2026"]


def test_kinds_signatures_and_readings_that_are_missing_are_declared(world: World) -> None:
    picked(world)
    record = cleaned(world, by=world.helper)
    missing = column(table(binder(world), "Also missing"), "What is missing")

    assert "no record of training" in missing and "no record of cleaning" not in missing
    assert f"no second signature on record {record.pk}" in missing
    assert sum(str(words).startswith("no readings of run ") for words in missing) == 2


def test_an_excursion_stands_with_its_lots_and_what_was_decided(world: World) -> None:
    crop = picked(world)
    read_store(world, 3_000)
    out_of_limits(world)
    read_store(world, 3_000)
    found = table(binder(world), "Outside the limits")

    assert column(found, "Lots that sat through it") == [crop.code]
    assert column(found, "What became of the mushrooms") == ["thrown away"]
    assert "nothing here says that they were safe" in found.note


def test_picks_stand_in_it_from_the_book(world: World) -> None:
    crop = picked(world)

    assert f"{crop.code} made 10.00 kg" in str(column(table(binder(world), "Picks"), "Lots")[0])


def test_photos_stand_below_the_checks_and_records_that_they_belong_to(world: World) -> None:
    blocks = grow_blocks(world, 20)
    doing = world.doing(reason="green mould")
    looked = check(doing, lot=blocks, colonised_percent=60, lost=2).entry
    record = cleaned(world)
    for to in (looked, record):
        add_photo(world.owner, to, block_with("green mould"))
    built = {section.title: section.build() for section in sections(ALL_DAYS, world.farm)}

    (of_check,) = built["Checks while growing"].prints
    assert of_check.caption.startswith(f"Entry {looked.seq}, lot {blocks.code}: ")
    assert of_check.caption.endswith(", OL")
    assert max(of_check.width, of_check.height) == 420
    assert len(of_check.image) < 30_000
    (of_record,) = built[KINDS[record.kind].title].prints
    assert of_record.caption.startswith(f"No. {record.pk}")


def test_a_picture_that_was_taken_out_is_not_in_it(world: World) -> None:
    record = cleaned(world)
    remove_photo(add_photo(world.owner, record, block_with("burst bag")), world.owner)
    built = {section.title: section.build() for section in sections(ALL_DAYS, world.farm)}

    assert built[KINDS[record.kind].title].prints == ()


@needs_pdftotext
def test_photos_are_on_the_paper_with_their_captions(world: World, tmp_path: Path) -> None:
    record = cleaned(world)
    for cause in ("green mould", "other mould", "burst bag", "pests", "old"):
        add_photo(world.owner, record, block_with(cause))
    made = made_for(world.farm, "olive", timezone.now())
    content = binder_pdf(binder_cover(SPAN, world.farm, made), sections(ALL_DAYS, world.farm))

    assert words_of_pdf(content, tmp_path).count(f"No. {record.pk}") == 5
    assert content.count(b"/DCTDecode") == 5


def test_illness_notes_are_not_in_it(world: World) -> None:
    keep(world, ILLNESS, who="Ben", symptoms="stomach")

    assert not any(
        one.title == "Illness notes" or "Ben" in str(one) for one in binder(world).tables
    )


def test_a_farm_in_pounds_reads_fahrenheit(world: World) -> None:
    read_store(world, 5_000)
    world.farm.weight_unit = "lb"

    assert column(table(binder(world), "Store temperature"), "Temperature read") == [41_000]


# --- files -----------------------------------------------------------------------------------


@needs_pdftotext
def test_the_paper_has_a_cover_an_index_and_page_numbers(world: World, tmp_path: Path) -> None:
    read_store(world, 3_000)
    made = made_for(world.farm, "olive", timezone.now())
    content = binder_pdf(binder_cover(SPAN, world.farm, made), sections(SPAN, world.farm))
    pages = words_of_pdf(content, tmp_path).split("\f")[:-1]
    at = next(
        number
        for number, words in enumerate(pages, 1)
        if "Temperature of Fridge" in words and "Index" not in words
    )

    assert "Binder of records" in pages[0] and "Alder Lane, Lowfield" in pages[0]
    line = next(one for one in pages[1].splitlines() if "Temperature of Fridge" in one)
    assert line.split()[-1] == str(at)
    assert f"page 1 of {len(pages)}" in pages[0]


@needs_pdftotext
def test_no_head_of_a_column_is_broken_inside_a_word(world: World, tmp_path: Path) -> None:
    run_with_a_long_note(world)
    made = made_for(world.farm, "olive", timezone.now())
    content = binder_pdf(binder_cover(SPAN, world.farm, made), sections(SPAN, world.farm))
    heads = [line for line in words_of_pdf(content, tmp_path).splitlines() if "Particulars" in line]

    assert heads and all("State" in line.split() for line in heads)


def run_with_a_long_note(world: World) -> None:
    bags = filled_bags(world, 4, sterilised=False)
    sterilise(
        world.doing(reason="The gasket was changed before the run, and the vent was cleaned"),
        steriliser=world.steriliser,
        lots=[bags],
        minutes_at_temperature=90,
        gauge_pa=100_000,
    )


def test_a_corrected_row_is_struck_through_in_the_sheet(world: World) -> None:
    wrong = read_store(world, 4_800)
    read_store(world, 3_800, corrects=wrong, note="misread")
    sheet = load_workbook(io.BytesIO(workbook_bytes(binder(world))))["Store temperature"]

    assert [sheet["D4"].font.strike, sheet["D5"].font.strike] == [True, None]
    assert (sheet["D4"].value, sheet["D3"].value) == (4.8, "Temperature read, °C")


def test_the_command_writes_both_files(world: World, tmp_path: Path) -> None:
    cleaned(world)
    call_command("binder", "--from", "2026-09-01", "--until", "2026-09-30", "--out", str(tmp_path))

    assert {path.name for path in tmp_path.iterdir()} == {
        "binder-2026-09-01-2026-09-30.pdf",
        "binder-2026-09-01-2026-09-30.xlsx",
    }


def test_the_command_writes_the_one_file_that_is_named(world: World, tmp_path: Path) -> None:
    path = tmp_path / "binder.pdf"
    call_command("binder", "--from", "2026-09-01", "--to", "2026-09-30", "--out", str(path))

    assert path.read_bytes().startswith(b"%PDF")


def test_the_command_refuses_days_the_wrong_way_round(world: World, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="is after --until"):
        call_command(
            "binder", "--from", "2026-09-02", "--until", "2026-09-01", "--out", str(tmp_path)
        )


# --- pages: who sees and does what -----------------------------------------------------------

OK, NO, SIGN_IN = 200, 403, 302
ADDRESSES = [
    ("/records/", OK, OK, OK, SIGN_IN),
    ("/records/review/", OK, OK, OK, SIGN_IN),
    ("/records/binder/", OK, OK, OK, SIGN_IN),
    ("/records/binder/?file=xlsx", OK, OK, OK, SIGN_IN),
    ("/records/cleaning/", OK, OK, OK, SIGN_IN),
    ("/records/cleaning/?file=pdf", OK, OK, OK, SIGN_IN),
    ("/records/cleaning/add/", OK, OK, NO, SIGN_IN),
    ("/records/illness/", OK, NO, NO, SIGN_IN),
    ("/records/illness/add/", OK, NO, NO, SIGN_IN),
    ("/records/illness/1/", 404, NO, NO, SIGN_IN),
    ("/records/nothing/", 404, 404, 404, SIGN_IN),
]


@pytest.mark.parametrize(("address", "owner", "helper", "inspector", "stranger"), ADDRESSES)
def test_each_role_opens_what_it_may(
    world: World, address: str, owner: int, helper: int, inspector: int, stranger: int
) -> None:
    reading = signed_in(person_in_role(Role.INSPECTOR, "inga"))
    cast = [signed_in(world.owner), signed_in(world.helper), reading, Client()]

    expected = [owner, helper, inspector, stranger]
    assert [client.get(address).status_code for client in cast] == expected


def test_no_list_names_illness_notes_to_a_helper(world: World) -> None:
    keep(world, ILLNESS, who="Ben", symptoms="stomach")
    page = signed_in(world.helper).get("/records/").content.decode()

    assert "Illness" not in page and "Store temperature" in page


def sent(**said: str) -> dict[str, str]:
    return {"when": "2026-09-08T10:00", "uuid": str(uuid4()), **CLEAN, **said}


def test_a_helper_signs_by_pin_on_the_owners_tablet(world: World) -> None:
    pinned(world.helper)
    signed_in(world.owner).post("/records/cleaning/add/", sent(initials="hu", pin=PIN))
    record = Record.objects.get()

    assert (record.by, record.initials, record.typed_by) == (world.helper, "HU", world.owner)


def test_a_wrong_pin_keeps_nothing_and_what_was_typed(world: World) -> None:
    pinned(world.helper)
    said = sent(initials="HU", pin="0000")
    page = signed_in(world.owner).post("/records/cleaning/add/", said).content.decode()

    assert "do not belong together" in page and CLEAN["method"] in page
    assert not Record.objects.exists()


def test_a_correction_is_prefilled_and_strikes_the_first_through(world: World) -> None:
    wrong, client = cleaned(world), signed_in(world.owner)
    address = f"/records/cleaning/add/?corrects={wrong.pk}"
    page = client.get(address).content.decode()
    client.post(address, sent(note="the other table"))

    assert CLEAN["what"] in page and "Why it is corrected" in page
    assert (
        '<tr class="struck">'
        in client.get("/records/cleaning/?first=2026-09-01&last=2026-09-30").content.decode()
    )


def test_an_owner_signs_on_the_page_of_what_waits(world: World) -> None:
    record, client = cleaned(world, by=world.helper), signed_in(world.owner)
    page = client.post(f"/records/cleaning/{record.pk}/review/", follow=True).content.decode()

    assert "is signed a second time, by OL" in page


def test_a_helper_may_not_sign_on_the_page(world: World) -> None:
    record = cleaned(world, by=world.helper)
    answer = signed_in(world.helper).post(f"/records/cleaning/{record.pk}/review/")

    assert answer.status_code == NO


def test_an_owner_erases_an_illness_note_on_its_page(world: World) -> None:
    record = keep(world, ILLNESS, who="Ben", symptoms="stomach")
    client, address = signed_in(world.owner), f"/records/illness/{record.pk}/"
    before = client.get(address).content.decode()
    after = client.post(f"{address}erase/", follow=True).content.decode()

    assert "Ben" in before and "Ben" not in after and "erased on request" in after


def test_the_page_of_a_store_shows_its_curve_and_who_sat_through(world: World) -> None:
    crop = picked(world)
    read_store(world, 3_000)
    bad = out_of_limits(world)
    address = f"/records/store/{world.fridge_shelf.room.pk}/?first=2026-09-01&last=2026-12-31"
    page = signed_in(world.helper).get(address).content.decode()

    assert bad.kind == STORE
    assert "1 outside the limits" in page and "<svg" in page and crop.code in page


def test_a_store_without_readings_has_an_empty_page(world: World) -> None:
    page = signed_in(world.helper).get(f"/records/store/{world.fridge_shelf.room.pk}/")

    assert page.status_code == OK


def test_a_future_time_is_refused(world: World) -> None:
    later = f"{timezone.localtime() + timedelta(days=1):%Y-%m-%dT%H:%M}"
    page = signed_in(world.owner).post("/records/cleaning/add/", sent(when=later)).content.decode()

    assert "This is later than now" in page


def test_the_owner_gives_a_pin_on_the_people_page(world: World) -> None:
    said = {"initials": "HU", "role": "helper", "pin": PIN}
    signed_in(world.owner).post(f"/look-ups/people/{world.helper.pk}/", said)
    world.helper.refresh_from_db()

    assert world.helper.pin_hash


def test_a_bad_pin_changes_nobody(world: World) -> None:
    said = {"initials": "HG", "role": "helper", "pin": "1"}
    address = f"/look-ups/people/{world.helper.pk}/"
    page = signed_in(world.owner).post(address, said).content.decode()
    world.helper.refresh_from_db()

    assert "four to eight digits" in page and world.helper.initials == "HU"
