"""Closed months: what is frozen stays, and what changes since shows in the earliest open month."""

from datetime import UTC, datetime

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from farm.actions.common import Draw
from farm.actions.recording import unfinished
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.models import ClosedFile, ClosedMonth, StallDay
from farm.queries.months.canonical import as_text, from_text, rows_of, summed
from farm.queries.months.closings import (
    closings,
    closings_add_up,
    digest,
    earliest_open,
    frozen_rows,
    late_entries,
    late_for,
    provisional_lots,
    since_closing,
    totals,
    unfinished_of,
)
from farm.queries.months.months import Month
from farm.reports.months.closing_rows import closed_report, open_report
from farm.reports.rows import Cell, Report, Table
from ledger import append_only
from ledger.errors import Malformed, OnHold
from ledger.models import Entry, Role, Seal
from ledger.sealing import head_digest
from tests.farm.closed import (
    AUGUST,
    LATER,
    NOVEMBER,
    OCTOBER,
    SEPTEMBER,
    blocks,
    close,
    flush,
    go_to,
    sold,
    spent,
    two_flushes,
)
from tests.farm.goods import crop
from tests.farm.season import MADE
from tests.farm.world import GRAM, KG, UNIT, World, fresh

COST = "sales cost_of_sales_money"


def table(report: Report, title: str) -> Table:
    return next(table for table in report.tables if table.title == title)


def cell(shown: Table, row: int, column: str) -> Cell:
    return shown.rows[row][[each.name for each in shown.columns].index(column)]


# --- the worked number -----------------------------------------------------------------------


def test_a_flush_known_later_shows_since_closing_and_not_in_the_closed_month(
    world: World,
) -> None:
    """Flush 1 took 3.5714 = 5.0000 * 500 / 700; spent, it takes 3.8461 = 5.0000 * 500 / 650."""
    two_flushes(world)

    assert totals(frozen_rows())[COST] == 3_5714
    assert totals(since_closing())[COST] == 2747
    assert totals(rows_of(OCTOBER))[COST] == 1_1539
    assert totals([*frozen_rows(), *since_closing(), *rows_of(OCTOBER)])[COST] == 5 * UNIT


def test_october_shows_septembers_row_with_its_difference(world: World) -> None:
    two_flushes(world)
    shown = table(open_report(OCTOBER, MADE, closings()), "Since closing: sales by line")

    assert cell(shown, 0, "Belongs to") == "September 2026"
    assert cell(shown, 0, "Customer number") == world.customer.number
    assert cell(shown, 0, "Cost of sales") == 2800  # 3.85 less 3.57, as September prints them
    assert len(shown.rows) == 1


def test_frozen_since_and_open_stand_in_one_row_that_makes_the_whole(world: World) -> None:
    two_flushes(world)
    shown = table(open_report(OCTOBER, MADE, closings()), "How closed and open make the whole")
    by_label = {row[0]: row[1:] for row in shown.rows}

    assert by_label["Cost of sales"] == (3_5700, 2800, 1_1500, 5 * UNIT)


def test_what_a_closing_showed_is_frozen_with_it_and_shown_no_more(world: World) -> None:
    """October freezes its own 1.1539 and September's +0.2747; November has nothing left to show."""
    two_flushes(world)
    close(world, OCTOBER)

    assert totals(frozen_rows())[COST] == 5 * UNIT
    assert since_closing() == []
    assert closings_add_up().broken == ""


def test_only_the_earliest_open_month_shows_it(world: World) -> None:
    two_flushes(world)
    titles = [shown.title for shown in open_report(NOVEMBER, MADE, closings()).tables]

    assert not [title for title in titles if title.startswith("Since closing")]


# --- what is frozen stays --------------------------------------------------------------------


def test_the_frozen_bytes_and_rows_outlive_every_later_change(world: World) -> None:
    lot = crop(world)
    sale = sold(world, lot, 3 * KG).entry
    before = close(world)
    files = {file.name: bytes(file.content) for file in before.files.all()}
    correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=2 * KG)
    world.customer.name = "Somebody else"
    world.customer.save()
    now = ClosedMonth.objects.get(month=SEPTEMBER.first)

    assert {file.name: bytes(file.content) for file in now.files.all()} == files
    assert now.rows == before.rows
    assert {name.split(".")[1] for name in files} == {"pdf", "xlsx", "zip", "csv", "txt", "json"}


def test_each_file_states_its_digest(world: World) -> None:
    crop(world)
    closed = close(world)

    assert [digest(bytes(file.content)) for file in closed.files.all()] == [
        file.sha256 for file in closed.files.all()
    ]
    shown = table(closed_report(closed), "Frozen files")
    assert {row[2] for row in shown.rows} == {
        *(f.sha256 for f in closed.files.all()),
        closed.sha256,
    }


def test_the_head_of_the_chain_is_kept_and_printed_in_eights(world: World) -> None:
    crop(world)
    head = head_digest()
    closed = close(world)
    shown = next(f for f in closed_report(closed).facts if f.label == "Head of the chain")

    assert closed.head_digest == head
    assert [len(part) for part in str(shown.value).split()] == [8] * 8
    assert str(shown.value).replace(" ", "") == head
    printed = bytes(closed.files.get(name__endswith="txt").content).decode()
    assert str(shown.value) in printed


def test_a_head_that_is_not_the_one_that_was_frozen_is_named(world: World) -> None:
    crop(world)
    closed = close(world)
    append_only.remove(connection)
    Seal.objects.filter(entry=closed.until_seq).update(digest="0" * 64)

    assert f"entry {closed.until_seq} is not sealed as it was" in closings_add_up().broken


def test_the_closed_report_is_the_one_that_was_frozen(world: World) -> None:
    lot = crop(world)
    sale = sold(world, lot, 3 * KG).entry
    closed = close(world)
    before = closed_report(closed)
    undo(world.doing(), sale)

    assert closed_report(closed) == before
    assert cell(table(before, "Sales by line"), 0, "Weight") == 3 * KG
    assert before.drawings


def test_the_database_refuses_to_change_what_is_frozen(world: World) -> None:
    crop(world)
    close(world)

    for changed in (
        lambda: ClosedFile.objects.all().delete(),
        lambda: ClosedFile.objects.update(content=b""),
        lambda: ClosedMonth.objects.update(rows="[]"),
    ):
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            changed()


def test_a_changed_byte_is_found_by_the_audit(world: World) -> None:
    crop(world)
    closed = close(world)
    ClosedFile.objects.create(closed=closed, name="forged.pdf", content=b"x", sha256="0" * 64)

    assert "forged.pdf is changed" in closings_add_up().broken


def test_rows_carry_customer_numbers_and_no_names(world: World) -> None:
    sold(world, crop(world), KG)
    closed = close(world)

    assert world.customer.number in closed.rows
    assert world.customer.name not in closed.rows
    assert from_text(closed.rows) == from_text(as_text(rows_of(SEPTEMBER)))


# --- what changes since ----------------------------------------------------------------------


def test_a_late_entry_counts_in_its_month_and_shows_in_the_open_one(world: World) -> None:
    lot = crop(world)
    close(world)
    entry = sold(world, lot, KG).entry  # done in September, recorded after it was closed
    october = open_report(OCTOBER, MADE, closings())

    assert [row.month for row in since_closing() if row.table == "sales"] == ["2026-09"]
    assert late_entries(closings()) == [entry]
    assert cell(table(october, "Recorded late, for closed months"), 0, "Belongs to") == (
        "closed September 2026"
    )
    assert late_for(entry) == "September 2026"
    assert [late_for(line.entry) for line in lot.lines.all()] == ["", "September 2026"]


def test_a_correction_is_late_for_the_month_of_what_it_corrects(world: World) -> None:
    lot = crop(world)
    sale = sold(world, lot, 3 * KG).entry
    close(world)
    go_to(world, OCTOBER)
    correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=2 * KG)
    (row,) = [row for row in since_closing() if row.table == "sales"]

    # 10 kg at 50.0000; one kg less at 12.00 with the tax in it.
    assert (row.numbers["sold_mg"], row.numbers["cost_of_sales_money"]) == (-KG, -5 * UNIT)
    assert [entry.kind for entry in late_entries(closings())] == ["correct"]


def test_an_entry_of_an_earlier_month_than_any_closed_is_late_too(world: World) -> None:
    crop(world)
    close(world)
    go_to(world, AUGUST)
    crop(world, KG)

    assert [row.month for row in since_closing() if row.table == "stock"] == ["2026-08"]
    assert len(late_entries(closings())) == 1
    assert closings_add_up().broken == ""


def test_nothing_changed_shows_nothing(world: World) -> None:
    sold(world, crop(world), KG)
    close(world)
    go_to(world, OCTOBER)
    crop(world)

    assert since_closing() == []
    assert late_entries(closings()) == []


def test_rows_of_one_place_that_come_to_nothing_leave(world: World) -> None:
    sold(world, crop(world), KG)
    rows = rows_of(SEPTEMBER)

    assert summed(rows) == rows != []
    assert as_text(summed(reversed(rows))) == as_text(rows)


# --- in order, over, finished, sound ---------------------------------------------------------


def test_months_close_in_order(world: World) -> None:
    go_to(world, AUGUST)
    lot = crop(world)
    with pytest.raises(Malformed, match="Close August 2026 first"):
        close(world, SEPTEMBER)
    close(world, AUGUST)
    close(world, SEPTEMBER)  # nothing happened in it

    assert earliest_open() == OCTOBER
    assert fresh(lot).quantity == 10 * KG
    with pytest.raises(Malformed, match="closed already"):
        close(world, AUGUST)


def test_an_empty_book_closes_nothing(world: World) -> None:
    with pytest.raises(Malformed, match="Nothing is recorded yet"):
        close(world)


@pytest.mark.parametrize(
    ("at", "accepted"),
    # The farm is in Madrid: on 30 September 22:00 UTC it is October there.
    [
        (datetime(2026, 9, 30, 21, 59, tzinfo=UTC), False),
        (datetime(2026, 9, 30, 22, 0, tzinfo=UTC), True),
    ],
)
def test_a_month_closes_once_it_is_over_at_the_farm(
    world: World, at: datetime, accepted: bool
) -> None:
    crop(world)
    try:
        close(world, at=at)
    except Malformed as refusal:
        assert "runs to the end of Wed 30 Sep 2026" in str(refusal)

    assert ClosedMonth.objects.exists() is accepted


def wait_with(world: World, when: str) -> None:
    doing = world.doing()
    unfinished.keep("sell", doing, {"when": [when]}, refusal=OnHold("Lot X is on hold."))


def test_what_waits_stops_the_closing_until_it_is_answered(world: World) -> None:
    crop(world)
    wait_with(world, "2026-09-12T08:00")
    with pytest.raises(Malformed, match=r"1 unfinished; answer it .*Lot X is on hold"):
        close(world)
    (kept,) = unfinished.still_waiting()
    unfinished.drop(kept.uuid, "was sold from another lot")

    assert close(world).month == SEPTEMBER.first


def test_what_waits_of_the_next_month_stops_nothing(world: World) -> None:
    crop(world)
    wait_with(world, "2026-10-01T08:00")

    assert unfinished_of(SEPTEMBER) == []
    assert len(unfinished_of(OCTOBER)) == 1


def test_a_form_without_a_day_counts_on_the_day_it_was_sent(world: World) -> None:
    wait_with(world, "")
    today = timezone.now().date().replace(day=1)

    assert len(unfinished_of(Month(today, LATER.date().replace(year=2100)))) == 1
    assert unfinished_of(AUGUST) == [] or today <= AUGUST.last


def test_a_load_not_settled_stops_the_closing(world: World) -> None:
    lot = crop(world)
    day = SEPTEMBER.last.replace(day=12)
    load = load_stall(world.doing(), place=world.stall, day=day, lines=[Draw(lot, KG)]).entry
    with pytest.raises(Malformed, match=r"Saturday market on 12 Sep 2026 .* is not settled"):
        close(world)
    settle_stall(
        world.doing(),
        stall_day=StallDay.objects.get(entry=load),
        brought_back={lot.pk: KG},
        prices={},
    )

    assert close(world).month == SEPTEMBER.first


def test_a_load_that_was_undone_stops_nothing(world: World) -> None:
    lot = crop(world)
    day = SEPTEMBER.last.replace(day=12)
    undo(
        world.doing(),
        load_stall(world.doing(), place=world.stall, day=day, lines=[Draw(lot, KG)]).entry,
    )

    assert close(world).month == SEPTEMBER.first


def test_provisional_flushes_stop_nothing(world: World) -> None:
    lot = blocks(world)
    flush(world, lot, 1, 500 * GRAM)

    assert [found.pk for found in provisional_lots(SEPTEMBER)] == [lot.pk]
    assert close(world).month == SEPTEMBER.first
    spent(world, lot)
    assert not provisional_lots(SEPTEMBER).exists()


def test_a_book_that_does_not_hold_is_not_closed(world: World) -> None:
    lot = crop(world)
    type(lot).objects.filter(pk=lot.pk).update(materials=1)
    with pytest.raises(Malformed, match=f"does not hold: .*{lot.code}.*audit_book"):
        close(world)

    assert not ClosedMonth.objects.exists()


def test_a_refused_closing_writes_nothing(world: World) -> None:
    crop(world)
    wait_with(world, "2026-09-12T08:00")
    entries = Entry.objects.count()
    with pytest.raises(Malformed):
        close(world)

    assert not ClosedFile.objects.exists()
    assert Entry.objects.count() == entries
