"""Bills of the month against what the rates charged; purchase tax in or out."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction

from farm.actions.growing.cultures import buy_culture
from farm.actions.growing.purchase_tax import tax_within
from farm.actions.growing.supplies import receive_supplies
from farm.actions.months.bills import BillSaid, enter_bill, take_bill_back
from farm.models import Bill, BillKind
from farm.queries.months.bills import Compared, charged_and_billed
from farm.queries.months.canonical import rows_of
from farm.queries.months.closings import closings, since_closing
from farm.queries.months.months import Month, month_of
from farm.queries.movements import money_in
from farm.reports.months.closing_rows import bills_table, in_words, open_report
from ledger.errors import Conflict, Malformed, NotStanding
from ledger.models import Charge, Lot
from tests.farm.closed import LATER, OCTOBER, SEPTEMBER, blocks, close, flush, sold
from tests.farm.goods import crop
from tests.farm.season import MADE, season
from tests.farm.world import GRAM, KG, UNIT, World, fresh, prepared_grain, run


def billed(
    world: World, kind: BillKind = BillKind.ENERGY, money: int = 8 * UNIT, tax_money: int = 0
) -> Bill:
    said = BillSaid(month=SEPTEMBER, kind=kind, paid_money=money, tax_money=tax_money)
    return enter_bill(world.owner, said, uuid=uuid4(), at=LATER)


def compared(kind: BillKind, month: Month = SEPTEMBER) -> Compared:
    return next(row for row in all_compared(month) if row.kind == kind)


def all_compared(month: Month) -> list[Compared]:
    return charged_and_billed(money_in(month.first, month.last))


# --- bills against rates ---------------------------------------------------------------------


def test_energy_beyond_what_the_runs_charged_is_under_charged(world: World) -> None:
    """One run of 20 kWh at 0.30 charges 6.00; the bill says 8.00."""
    run(world, prepared_grain(world))
    billed(world)

    assert compared(BillKind.ENERGY) == Compared(BillKind.ENERGY, 8 * UNIT, 6 * UNIT)
    assert compared(BillKind.ENERGY).under_charged == 2 * UNIT
    assert in_words(2 * UNIT) == "under-charged"


def test_a_bill_below_what_was_charged_is_over_charged(world: World) -> None:
    run(world, prepared_grain(world))
    billed(world, money=5 * UNIT)

    assert compared(BillKind.ENERGY).under_charged == -1 * UNIT
    assert in_words(-1 * UNIT) == "over-charged"
    assert in_words(0) == "agrees"


def test_paid_hours_count_at_work_and_at_the_place_and_own_hours_nowhere(world: World) -> None:
    """60 paid minutes at 15.00 of picking, 20 of delivering; an own hour is nobody's bill."""
    lot = blocks(world)
    picked = flush(world, lot, 1, 250 * GRAM, by=world.helper, minutes=60)
    sold(world, picked, by=world.helper, minutes=20)
    flush(world, lot, 1, 250 * GRAM, minutes=60)

    assert compared(BillKind.PAID).charged == 20 * UNIT
    assert sum(row.charged for row in all_compared(SEPTEMBER)) == 20 * UNIT


def test_a_stalls_fee_is_compared_with_its_bill(db: None) -> None:
    """The stall day of the season is settled in September's or October's book with 25.00."""
    world = season().world
    month = month_of(f"{world.now:%Y-%m}")

    assert compared(BillKind.FEES, month).charged == 25 * UNIT


def test_a_bill_changes_no_cost_of_a_lot(world: World) -> None:
    lot = crop(world)
    billed(world, money=100 * UNIT)

    assert fresh(lot).materials == 50 * UNIT
    assert not Charge.objects.exists()


def test_a_bill_that_no_rate_covers_is_under_charged_whole(world: World) -> None:
    billed(world, BillKind.OTHER, 30 * UNIT)

    assert compared(BillKind.OTHER).under_charged == 30 * UNIT


def test_a_bill_taken_back_counts_no_more_and_stays(world: World) -> None:
    bill = billed(world, tax_money=UNIT)
    back = take_bill_back(world.owner, bill, uuid=uuid4(), at=LATER)

    assert compared(BillKind.ENERGY).billed == 0
    assert (back.paid_money, back.tax_money, back.cost_money) == (-8 * UNIT, -UNIT, -8 * UNIT)
    for taken in (bill, back):
        with pytest.raises(NotStanding, match="taken back already"):
            take_bill_back(world.owner, taken, uuid=uuid4(), at=LATER)


def test_a_bill_or_its_taking_back_sent_twice_is_one(world: World) -> None:
    said = BillSaid(month=SEPTEMBER, kind=BillKind.ROOM, paid_money=UNIT)
    first, second = uuid4(), uuid4()
    for _ in range(2):
        bill = enter_bill(world.owner, said, uuid=first, at=LATER)
    with pytest.raises(Conflict):
        enter_bill(world.owner, replace(said, paid_money=2 * UNIT), uuid=first, at=LATER)
    for _ in range(2):
        take_bill_back(world.owner, bill, uuid=second, at=LATER)

    assert Bill.objects.count() == 2


def test_a_bill_of_nothing_is_refused(world: World) -> None:
    with pytest.raises(Malformed, match="bill of nothing"):
        billed(world, money=0)


def test_the_database_refuses_to_change_a_bill(world: World) -> None:
    billed(world)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        Bill.objects.update(cost_money=0, paid_money=0)


# --- with the closing ------------------------------------------------------------------------


def test_the_difference_is_frozen_with_the_month_and_a_late_bill_shows_since(
    world: World,
) -> None:
    run(world, prepared_grain(world))
    billed(world)
    closed = close(world)
    billed(world, money=3 * UNIT)
    (late,) = since_closing()

    assert '"under_charged_money":20000' in closed.rows
    assert (late.month, late.table, late.key) == ("2026-09", "bills", ("energy",))
    assert late.numbers == {
        "billed_money": 3 * UNIT,
        "charged_money": 0,
        "under_charged_money": 3 * UNIT,
    }


def test_the_month_shows_bills_against_rates(world: World) -> None:
    billed(world)
    shown = open_report(SEPTEMBER, MADE, closings()).tables[-1]

    assert ("energy", 8 * UNIT, 0, 8 * UNIT, "under-charged") in shown.rows
    assert not [row for row in rows_of(OCTOBER) if row.table == "bills"]


def test_what_was_charged_without_any_bill_differs_from_nothing(world: World) -> None:
    run(world, prepared_grain(world))
    money = money_in(SEPTEMBER.first, SEPTEMBER.last)
    shown = {row[0]: row for row in bills_table(money).rows}

    assert shown["energy"] == ("energy", None, 6 * UNIT, None, "no bill entered")
    assert shown[BillKind.OTHER.label][1:] == (None, 0, None, "")


def test_the_total_leaves_out_what_is_missing_and_says_so(world: World) -> None:
    """6.00 of energy charged: without a bill no total of bills, and none of differences."""
    run(world, prepared_grain(world))
    money = money_in(SEPTEMBER.first, SEPTEMBER.last)
    assert bills_table(money).total == ("Total", None, 6 * UNIT, None, "without energy")

    billed(world)
    money = money_in(SEPTEMBER.first, SEPTEMBER.last)
    assert bills_table(money).total == ("Total", 8 * UNIT, 6 * UNIT, 2 * UNIT, None)


# --- purchase tax ----------------------------------------------------------------------------


def received(world: World, paid_money: int, tax_money: int) -> Lot:
    return fresh(
        receive_supplies(
            world.doing(),
            supply=world.supplies["rye"],
            quantity=10 * KG,
            paid_money=paid_money,
            tax_money=tax_money,
        ).lots[0]
    )


def reclaims(world: World) -> None:
    world.farm.reclaims_purchase_tax = True
    world.farm.save()


def test_a_farm_that_reclaims_the_tax_buys_without_it(world: World) -> None:
    reclaims(world)
    lot = received(world, 121 * UNIT, 21 * UNIT)

    assert lot.materials == 100 * UNIT
    assert '"paid_money":1210000' in lot.made_by.particulars
    assert '"purchase_tax_money":210000' in lot.made_by.particulars


def test_a_farm_that_does_not_buys_with_it(world: World) -> None:
    lot = received(world, 121 * UNIT, 21 * UNIT)

    assert lot.materials == 121 * UNIT
    assert '"purchase_tax_reclaimed":false' in lot.made_by.particulars


def test_without_a_tax_stated_the_cost_is_what_was_paid(world: World) -> None:
    reclaims(world)
    lot = received(world, 121 * UNIT, 0)

    assert lot.materials == 121 * UNIT
    assert "tax" not in lot.made_by.particulars


def test_changing_the_setting_changes_no_past(world: World) -> None:
    lot = received(world, 121 * UNIT, 21 * UNIT)
    reclaims(world)

    assert fresh(lot).materials == 121 * UNIT


def test_a_culture_is_bought_without_the_tax_too(world: World) -> None:
    reclaims(world)
    lot = buy_culture(
        world.doing(), strain=world.strain, portions=10, paid_money=11 * UNIT, tax_money=UNIT
    ).lots[0]

    assert fresh(lot).materials == 10 * UNIT


def test_a_bill_counts_without_the_tax_where_it_is_reclaimed(world: World) -> None:
    assert billed(world, money=121 * UNIT, tax_money=21 * UNIT).cost_money == 121 * UNIT
    reclaims(world)
    assert billed(world, money=121 * UNIT, tax_money=21 * UNIT).cost_money == 100 * UNIT


@pytest.mark.parametrize("tax_money", [-1, 121 * UNIT, 200 * UNIT])
def test_a_tax_that_is_no_part_of_what_was_paid_is_refused(world: World, tax_money: int) -> None:
    with pytest.raises(Malformed, match="not part of"):
        received(world, 121 * UNIT, tax_money)


def test_the_tax_in_a_sum_is_found_by_its_rate() -> None:
    """121.00 at 21 %: 121 * 21 / 121 = 21.00; 10.00 at 5.5 %: 10 * 5.5 / 105.5 = 0.5213: 0.52."""
    assert tax_within(121 * UNIT, 210_000) == 21 * UNIT
    assert tax_within(10 * UNIT, 55_000) == 5_200
