"""The binder's rows from the book: what it was, where, and what was corrected by whom and why."""

import io
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from django.utils import timezone
from openpyxl import load_workbook

from farm.actions.common import Draw
from farm.actions.growing.blocks import move_to_fruiting
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall
from farm.actions.starting.starting import add_strain
from farm.actions.store.packing import pack
from farm.actions.store.storing import Laid, dry
from farm.beliefs import planned
from farm.models import Given, Person, Sale
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import Span, binder_cover, binder_report, sections
from farm.reports.report_heading import made_for
from farm.reports.rows import Report, Table
from farm.reports.xlsx import workbook_bytes
from ledger.models import Entry, Lot, Role
from tests.conftest import signed_in
from tests.farm.records.test_binder import column, table
from tests.farm.world import GRAM, KG, UNIT, World, fresh, fruiting, grow_blocks, picked

SPAN = Span(date(2026, 9, 1), date(2026, 12, 31))


def binder(world: World) -> Report:
    return binder_report(SPAN, world.farm, made_for(world.farm, "olive", timezone.now()))


def corrected_of(world: World, title: str) -> Table:
    return table(binder(world), f"Corrected: {title}")


@pytest.fixture
def crop(world: World) -> Lot:
    world.owner.own_name, world.helper.own_name = "Olive Winter", "Hugo Brandt"
    world.owner.save()
    world.helper.save()
    world.received("punnet", 100)
    return picked(world, 10 * KG)


def shipped(world: World, crop: Lot) -> Lot:
    """20 packs of the crop: 5 sold to a kitchen, 3 loaded, one given away; a kilo dried."""
    packs = pack(
        world.doing(),
        product=world.product,
        packs=20,
        draws=[Draw(crop, 4 * KG)],
        shelf=world.fridge_shelf,
    ).lots[-1]
    dry(
        world.doing(),
        draws=[Draw(fresh(crop), KG)],
        dried_mg=115 * GRAM,
        temperature_milli_c=52_000,
        minutes_drying=600,
        laid=Laid(shelf=world.shelf),
    )
    lines = [SoldLine(fresh(packs), 5, 5 * UNIT)]
    sell(world.doing(), place=world.kitchens, customer=world.customer, lines=lines)
    day = world.now.date()
    load_stall(world.doing(), place=world.stall, day=day, lines=[Draw(fresh(packs), 3)])
    give_away(world.doing(), why=Given.SAMPLE, draws=[Draw(fresh(packs), 1)])
    return fresh(packs)


def test_every_row_names_species_strain_and_room(world: World, crop: Lot) -> None:
    packs = shipped(world, crop)
    found = binder(world)

    for title in ("Picks", "Packing", "Drying", "Shipping"):
        assert set(column(table(found, title), "Species and strain")) == {"Oyster · Grey"}
    assert column(table(found, "Picks"), "Room") == ["Fruiting tent, to Fridge"]
    assert column(table(found, "Packing"), "Room") == ["Fridge"]
    assert column(table(found, "Drying"), "Room") == ["Fridge, to Incubation"]
    assert column(table(found, "Shipping"), "Room") == ["Fridge"] * 3
    assert column(table(found, "Shipping"), "Lots") == [
        f"{packs.code} sold 5 packs",
        f"{packs.code} loaded 3 packs",
        f"{packs.code} lost 1 pack",
    ]
    sale = Sale.objects.get()
    told = [str(words) for words in column(table(found, "Shipping"), "Particulars")]
    assert told[0] == f"sell: Kitchens, customer {sale.customer_id}"
    assert told[1:] == ["load stall: Saturday market", "give away"]
    assert not any(
        "Anchor" in str(cell) for one in found.tables for row in one.rows for cell in row
    )


def test_a_pick_of_two_strains_and_what_was_packed_of_it_name_both(world: World) -> None:
    world.received("punnet", 10)
    first = fruiting(world, 4)
    world.strain = add_strain(planned("Oyster"), "Blue")
    second = grow_blocks(world, 4)
    world.wait(16)
    move_to_fruiting(world.doing(), lot=second, shelf=world.fruiting_shelf)
    world.wait(9)
    mixed = pick(
        world.doing(sure=True),
        given=[Draw(first, KG), Draw(fresh(second), KG)],
        flush=1,
        firsts_mg=2 * KG,
    ).lots[-1]
    pack(world.doing(), product=world.product, packs=5, draws=[Draw(mixed, KG)])
    found = binder(world)

    for title in ("Picks", "Packing"):
        assert column(table(found, title), "Species and strain") == ["Oyster · Blue, Oyster · Grey"]


def test_a_number_that_was_corrected_stands_struck_above_what_it_is(
    world: World, crop: Lot
) -> None:
    """12.4 lb typed as kilos, put right twice, by two people, each with a reason."""
    entry, seq = crop.made_by, crop.made_by_id

    def put_right(by: Person, why: str, kilos: int) -> Entry:
        doing = world.doing(by=by, reason=why, sure=True)
        return correct_quantity(
            doing, entry, lot=crop, role=Role.MADE, right_quantity=kilos * KG
        ).entry

    first = put_right(world.helper, "pounds, not kilos", 4)
    second = put_right(world.owner, "weighed once more", 5)
    found = corrected_of(world, "picks")
    made = [at for at, words in enumerate(column(found, "What")) if "made" in str(words)]

    assert [column(found, "What")[at] for at in made] == [
        f"{crop.code} made 10.00 kg · 22.05 lb",
        f"{crop.code} made 4.00 kg · 8.82 lb",
        f"{crop.code} made 5.00 kg · 11.02 lb",
    ]
    assert [at in found.struck for at in made] == [True, True, False]
    assert [column(found, "Said by entry")[at] for at in made] == [
        str(seq),
        str(first.seq),
        str(second.seq),
    ]
    assert [column(found, "By")[at] for at in made] == [
        "OL, Olive Winter",
        "HU, Hugo Brandt",
        "OL, Olive Winter",
    ]
    assert [column(found, "Why")[at] for at in made][1:] == [
        "pounds, not kilos",
        "weighed once more",
    ]
    # What the blocks gave follows the pick, and is told as well.
    assert sum("gave" in str(words) for words in column(found, "What")) == 3
    assert "corrected since" in str(column(table(binder(world), "Picks"), "State")[0])


def test_what_was_taken_back_says_by_whom(world: World, crop: Lot) -> None:
    undo(world.doing(by=world.helper, reason="another tent"), crop.made_by)
    found = corrected_of(world, "picks")

    assert [str(words).split()[-1] for words in column(found, "What")].count("back") == 2
    back = column(found, "What").index("taken back")
    assert (column(found, "By")[back], column(found, "Why")[back]) == (
        "HU, Hugo Brandt",
        "another tent",
    )
    assert table(binder(world), "Picks").struck == (0,)


def test_nothing_is_said_where_nothing_was_corrected(world: World, crop: Lot) -> None:
    assert not any(one.title.startswith("Corrected") for one in binder(world).tables)


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext (poppler-utils) is missing")
def test_paper_and_sheet_show_it_alike(world: World, crop: Lot, tmp_path: Path) -> None:
    correct_quantity(
        world.doing(by=world.helper, reason="pounds, not kilos", sure=True),
        crop.made_by,
        lot=crop,
        role=Role.MADE,
        right_quantity=4 * KG,
    )
    made = made_for(world.farm, "olive", timezone.now())
    book = load_workbook(io.BytesIO(workbook_bytes(binder(world))))
    sheet = next(book[name] for name in book.sheetnames if name.startswith("Corrected"))
    (tmp_path / "binder.pdf").write_bytes(
        binder_pdf(binder_cover(SPAN, world.farm, made), sections(SPAN, world.farm))
    )
    paper = subprocess.run(
        ["pdftotext", "-layout", "binder.pdf", "-"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
        text=True,
    ).stdout

    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    at = next(n for n, row in enumerate(rows) if "HU, Hugo Brandt" in row)
    struck = [sheet.cell(n + 1, 2).font.strike for n in (at - 1, at)]
    assert struck == [True, None]
    for words in ("Hugo Brandt", "pounds, not kilos", "Oyster · Grey", "Fruiting tent"):
        assert words in " ".join(paper.split()), words


def test_the_full_name_is_kept_on_the_people_page(world: World) -> None:
    client = signed_in(world.owner)
    client.post(
        f"/look-ups/people/{world.helper.pk}/",
        {
            "name": "hugo",
            "initials": "HU",
            "role": "helper",
            "own_name": "Hugo Brandt",
            "password": "",
            "pin": "",
        },
    )
    world.helper.refresh_from_db()

    assert (world.helper.full_name, world.owner.full_name) == ("Hugo Brandt", "olive")
