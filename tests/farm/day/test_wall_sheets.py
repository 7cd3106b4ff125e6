"""Wall sheets: what stands on them in which order, the paper, and typing them up row by row."""

from datetime import date, timedelta
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from PIL import Image

from farm.actions.growing.blocks import move
from farm.actions.growing.harvesting import mark_spent
from farm.actions.tracing.holding import hold
from farm.models import Photo, Record, Room, Shelf
from farm.queries.day.wall_sheets import SheetRow, in_pages, sheet_rows
from farm.queries.tracing.labels import grouped
from farm.reports.day.wall_sheet_pdf import ROW, WallSheet, wall_sheet_pdf, with_spare
from farm.reports.tracing.label_sheets import MM
from ledger.models import Entry, Line, Lot
from tests.farm.papers import pdf_words
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, fresh, fruiting, grow, picked

TOMORROW = timedelta(days=1)


def day_after(world: World) -> date:
    return world.now.astimezone(world.farm.zone).date() + TOMORROW


def on_shelf(world: World, lot: Lot, name: str) -> Lot:
    shelf, _ = Shelf.objects.get_or_create(
        room=Room.objects.get_or_create(name="Tent")[0], name=name
    )
    move(world.doing(), lot=lot, shelf=shelf)
    return lot


# --- what stands on a sheet ------------------------------------------------------------------


def test_picks_are_the_blocks_in_fruiting_and_checks_the_rest(world: World) -> None:
    fruits, grows = fruiting(world), grow(world).blocks
    day = day_after(world)

    assert [row.lot for row in sheet_rows("picks", day)] == [fruits]
    assert grows in [row.lot for row in sheet_rows("checks", day)]
    assert fruits not in [row.lot for row in sheet_rows("checks", day)]


def test_rows_follow_the_shelves_and_shelf_2_comes_before_shelf_10(world: World) -> None:
    ten = on_shelf(world, fruiting(world), "shelf 10")
    two = on_shelf(world, fruiting(world), "shelf 2")

    assert [row.lot for row in sheet_rows("picks", day_after(world))] == [two, ten]


def test_what_happens_on_the_day_moves_no_row(world: World) -> None:
    first = on_shelf(world, fruiting(world), "shelf 1")
    second = on_shelf(world, fruiting(world), "shelf 2")
    day = day_after(world)
    world.wait(1)

    on_shelf(world, first, "shelf 3")
    mark_spent(world.doing(), lot=fresh(second))

    assert [row.lot for row in sheet_rows("picks", day)] == [first, second]
    assert [row.lot for row in sheet_rows("picks", day + TOMORROW)] == [first]


def test_the_flush_of_the_sheets_day_stands_beside_the_lot(world: World) -> None:
    picked(world)
    day = day_after(world)
    gap = timedelta(days=world.strain.flush_gap_days)

    assert [row.flush for row in sheet_rows("picks", day)] == [1]
    assert [row.flush for row in sheet_rows("picks", day + gap)] == [2]


def test_a_fridge_with_a_pick_is_read_morning_and_evening(world: World) -> None:
    picked(world)
    lot = sheet_rows("fridge", day_after(world))[0].lot
    assert lot
    move(world.doing(), lot=lot, shelf=world.fridge_shelf)

    rows = sheet_rows("temperatures", day_after(world))

    assert [(row.room, row.time) for row in rows] == [
        (world.fridge_shelf.room, "morning"),
        (world.fridge_shelf.room, "evening"),
    ]


# --- the paper -------------------------------------------------------------------------------


def test_a_row_is_high_enough_for_a_pencil() -> None:
    assert ROW >= 14 * MM


@pytest.mark.parametrize(("rows", "pages"), [(0, [0]), (8, [8]), (9, [9, 0]), (12, [10, 2])])
def test_there_are_always_spare_rows_at_the_end(rows: int, pages: list[int]) -> None:
    """Ten rows a page: a page of eight has two to spare, nine are followed by an empty one."""
    filled = [SheetRow(key=str(at), place="Tent, shelf 1") for at in range(rows)]

    assert [len(page) for page in with_spare(in_pages(filled))] == pages


@pytest.mark.parametrize(("unit", "width"), [("kg", b"841.8898"), ("lb", b"792")])
def test_the_paper_is_a4_or_letter_by_the_farms_unit(world: World, unit: str, width: bytes) -> None:
    """ISO 216: A4 is 297 mm long, 841.89 points; US Letter is 11 in, 792 points."""
    world.farm.weight_unit = unit
    sheet = WallSheet(
        "picks", day_after(world), "/wall-sheets/picks/", sheet_rows("picks", day_after(world))
    )

    assert b"/MediaBox [ 0 0 " + width in wall_sheet_pdf(sheet, world.farm)


def test_a_lot_on_hold_is_marked_on_the_paper(world: World) -> None:
    lots = [fruiting(world), fruiting(world)]
    hold(world.doing(reason="green dust"), lots[:1])
    day = day_after(world)
    rows = sheet_rows("picks", day)
    pdf = wall_sheet_pdf(WallSheet("picks", day, "/wall-sheets/picks/", rows), world.farm)

    assert [row.lot.held for row in rows if row.lot] == [True, False]
    assert pdf_words(pdf).count("On hold.") == 1


def test_a_lot_emptied_that_day_is_typed_up_and_printed_no_more(
    owner: Client, world: World
) -> None:
    spent, there = fruiting(world), fruiting(world)
    day = day_after(world)
    world.wait(1)
    mark_spent(world.doing(), lot=fresh(spent))
    paper = pdf_words(owner.get(f"/wall-sheets/picks/{day}.pdf").content)

    assert (grouped(spent.code) in paper, grouped(there.code) in paper) == (False, True)
    assert "empty by now" in owner.get(address_of(world, "picks", day)).content.decode()


# --- typed up --------------------------------------------------------------------------------


def address_of(world: World, sheet: str, day: date | None = None) -> str:
    return f"/wall-sheets/{sheet}/{day or day_after(world)}/1/"


def typed(client: Client, address: str, **boxes: object) -> str:
    """Send a page of a sheet as it was shown, with some boxes filled; the page that follows."""
    form = client.get(address).context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    data["when"] = timezone.localtime(form["when"].initial).strftime("%Y-%m-%dT%H:%M")
    return client.post(address, {**data, **boxes}, follow=True).content.decode()


def test_blank_rows_are_nothing_and_each_typed_row_is_an_entry(owner: Client, world: World) -> None:
    first, second = fruiting(world), fruiting(world)

    page = typed(
        owner,
        address_of(world, "picks"),
        **{f"firsts_{first.pk}": "5", f"trim_{first.pk}": "250 g"},
    )

    pick = Entry.objects.get(kind="pick")
    assert set(pick.lines.exclude(given_mg=0).values_list("lot", "given_mg")) == {
        (first.pk, 5_250 * GRAM)
    }
    assert f"{first.code}: entry {pick.seq}" in page
    assert not second.lines.filter(entry__kind="pick").exists()
    assert_book_is_sound()


def test_a_doubtful_row_is_asked_about_and_the_others_are_recorded(
    owner: Client, world: World
) -> None:
    first, second = fruiting(world), fruiting(world)
    boxes = {f"firsts_{first.pk}": "5", f"firsts_{second.pk}": "90"}

    page = typed(owner, address_of(world, "picks"), **boxes)

    assert Entry.objects.filter(kind="pick").count() == 1
    assert f'name="firsts_{second.pk}" value="90"' in page and f'name="sure_{second.pk}"' in page
    assert f'name="firsts_{first.pk}"' not in page


def test_a_yes_records_the_doubtful_row(owner: Client, world: World) -> None:
    lot = fruiting(world)

    typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "90", f"sure_{lot.pk}": "on"})

    assert Entry.objects.get(kind="pick").lines.get(lot=lot).given_mg == 90 * KG


def test_what_cannot_be_read_stays_as_typed(owner: Client, world: World) -> None:
    lot = fruiting(world)

    page = typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "five"})

    assert 'value="five"' in page and "cannot be read as a weight" in page
    assert not Entry.objects.filter(kind="pick").exists()


def test_a_row_has_its_own_time(owner: Client, world: World) -> None:
    lot, day = fruiting(world), day_after(world)

    typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "5", f"at_{lot.pk}": "07:40"})

    when = Entry.objects.get(kind="pick").happened_at.astimezone(world.farm.zone)
    assert f"{when:%Y-%m-%d %H:%M}" == f"{day} 07:40"


def test_a_row_signed_with_a_wrong_pin_is_refused(owner: Client, world: World) -> None:
    lot = fruiting(world)
    own = {f"initials_{lot.pk}": world.helper.initials, f"pin_{lot.pk}": "0000"}

    page = typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "5", **own})

    assert not Entry.objects.filter(kind="pick").exists()
    assert f'name="firsts_{lot.pk}" value="5"' in page


def test_a_page_sent_twice_is_recorded_once(owner: Client, world: World) -> None:
    lot = fruiting(world)
    form = owner.get(address_of(world, "picks")).context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    data |= {f"firsts_{lot.pk}": "5", "when": f"{day_after(world)}T12:00"}

    for _ in range(2):
        owner.post(address_of(world, "picks"), data)

    assert Entry.objects.filter(kind="pick").count() == 1


def test_a_loss_without_how_far_it_has_grown_is_asked_for(owner: Client, world: World) -> None:
    blocks = grow(world).blocks
    address = address_of(world, "checks")

    page = typed(owner, address, **{f"lost_{blocks.pk}": "2"})
    assert "say how far it has grown through" in page

    cause = {f"grown_{blocks.pk}": "60", f"cause_{blocks.pk}": "green mould"}
    typed(owner, address, **{f"lost_{blocks.pk}": "2", **cause})
    entry = Entry.objects.get(kind="check", lines__lot=blocks, lines__role="lost")
    assert entry.reason == "green mould"
    assert fresh(blocks).quantity == blocks.quantity - 2
    assert_book_is_sound()


def test_a_weight_in_the_fridge_is_recorded(owner: Client, world: World) -> None:
    picked(world)
    lot = Line.objects.get(entry__kind="pick", quantity=10 * KG).lot

    typed(owner, address_of(world, "fridge"), **{f"weight_{lot.pk}": "9.9"})

    assert fresh(lot).quantity == 9_900 * GRAM


@pytest.fixture
def fridge(world: World) -> Room:
    picked(world)
    lot = Line.objects.get(entry__kind="pick", quantity=10 * KG).lot
    move(world.doing(), lot=lot, shelf=world.fridge_shelf)
    return world.fridge_shelf.room


def test_a_temperature_is_a_record_with_its_time(owner: Client, world: World, fridge: Room) -> None:
    key = f"{fridge.pk}-morning"

    page = typed(owner, address_of(world, "temperatures"), **{f"read_milli_c_{key}": "3.4"})
    assert "say at what time it was read" in page

    boxes = {f"read_milli_c_{key}": "3.4", f"high_milli_c_{key}": "5", f"at_{key}": "07:10"}
    typed(owner, address_of(world, "temperatures"), **boxes)
    record = Record.objects.get(kind="store-temperature")
    assert (record.room, f"{record.happened_at.astimezone(world.farm.zone):%H:%M}") == (
        fridge,
        "07:10",
    )


def test_the_photo_of_the_sheet_is_kept_beside_each_entry(owner: Client, world: World) -> None:
    first, second = fruiting(world), fruiting(world)
    picture = BytesIO()
    Image.new("RGB", (30, 20)).save(picture, "JPEG")
    file = SimpleUploadedFile("sheet.jpg", picture.getvalue())
    boxes = {f"firsts_{first.pk}": "5", f"firsts_{second.pk}": "6"}

    typed(owner, address_of(world, "picks"), **boxes, photo=file)

    assert {photo.entry for photo in Photo.objects.all()} == set(Entry.objects.filter(kind="pick"))
    assert Photo.objects.count() == 2


def test_a_photo_that_is_none_stops_the_page_before_anything_is_recorded(
    owner: Client, world: World
) -> None:
    lot = fruiting(world)
    file = SimpleUploadedFile("sheet.jpg", b"words")

    page = typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "5"}, photo=file)

    assert "Not recorded" in page
    assert not Entry.objects.filter(kind="pick").exists()


def test_what_was_recorded_that_day_is_said_at_its_row(owner: Client, world: World) -> None:
    lot = fruiting(world)
    typed(owner, address_of(world, "picks"), **{f"firsts_{lot.pk}": "5"})
    seq = Entry.objects.get(kind="pick").seq

    page = owner.get(address_of(world, "picks")).content.decode()

    assert f"Recorded for this day: entry {seq}" in page


# --- pages -----------------------------------------------------------------------------------


def test_the_sheets_of_a_day_lead_to_paper_and_typing(owner: Client, world: World) -> None:
    fruiting(world)
    day = day_after(world)

    page = owner.get(f"/wall-sheets/?day={day}").content.decode()

    assert f'href="/wall-sheets/picks/{day}.pdf"' in page
    assert f'href="/wall-sheets/picks/{day}/1/"' in page
    assert owner.get(f"/wall-sheets/picks/{day}.pdf")["Content-Type"] == "application/pdf"


@pytest.mark.parametrize(
    "rest", ["picks/2026-13-01/1/", "picks/2026-10-01/99/", "none/2026-10-01/1/"]
)
def test_a_sheet_that_is_none_is_not_found(owner: Client, world: World, rest: str) -> None:
    assert owner.get(f"/wall-sheets/{rest}").status_code == 404


def test_who_may_not_record_gets_no_sheet(inspector: Client, world: World) -> None:
    assert inspector.get("/wall-sheets/").status_code == 403
