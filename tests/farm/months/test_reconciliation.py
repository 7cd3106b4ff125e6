"""Where the crop went: every step by hand, what is flagged, and the page."""

from datetime import date, timedelta

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.orders.orders import Wanted, deliver
from farm.actions.orders.shares import Season, take_share
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, take_back
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import count_lot, throw_away, weigh_again
from farm.models import Farm, Form, Given, PlaceKind, StallDay
from farm.queries.months.lot_reconciliation import reconcile_lot
from farm.queries.months.place_reconciliation import reconcile_place
from farm.queries.months.reconciliation import (
    Reconciliation,
    Step,
    reconcile,
    steps_taken,
)
from farm.queries.movements import happened
from farm.reports import rows
from farm.reports.months.reconciliation_rows import steps_drawings, steps_table, told, verdict
from ledger.models import Lot
from tests.farm.closed import blocks, flush, sold
from tests.farm.goods import packs
from tests.farm.season import season
from tests.farm.world import GRAM, KG, UNIT, World, fresh

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 9, 1), date(2027, 6, 30)


def amounts(found: Reconciliation) -> dict[Step, int]:
    assert found.difference_mg == 0
    return found.amounts


def packed(world: World, count: int, *draws: Draw) -> Lot:
    world.received("punnet", count)
    doing = world.doing(sure=True)
    return fresh(pack(doing, product=world.product, packs=count, draws=draws).lots[-1])


# --- by hand ---------------------------------------------------------------------------------


def test_the_season_is_accounted_for_step_by_step() -> None:
    season()

    # 10 kg picked; 20 + 6 - 2 of 30 packs of 200 g sold, and 500 g of seconds; 1 kg dried; 3 packs
    # thrown away; 2 kg weighed again as 1.9; 3 packs, 0.9 kg of firsts, 1.5 of the rest left.
    assert amounts(reconcile(FIRST, LAST)) == {
        Step.PICKED: 10 * KG,
        Step.SOLD: 24 * 200 * GRAM + 500 * GRAM,
        Step.DRIED: KG,
        Step.THROWN: 600 * GRAM,
        Step.WATER: 100 * GRAM,
        Step.END: 3 * 200 * GRAM + 900 * GRAM + 1_500 * GRAM,
    }


def test_dried_goods_are_reconciled_apart() -> None:
    season()

    assert amounts(reconcile(FIRST, LAST, form=Form.DRIED)) == {
        Step.MADE: 110 * GRAM,
        Step.END: 110 * GRAM,
    }


def test_a_day_begins_with_what_the_day_before_left() -> None:
    lots = season()
    day = lots.stall.entry.happened_on
    before = reconcile(FIRST, day - timedelta(days=1))
    after = reconcile(day, LAST)

    assert before.end_mg == after.start_mg > 0
    assert amounts(after)[Step.START] == before.end_mg


def test_a_lot_is_followed_into_its_packs() -> None:
    """8 kg of firsts: 6 kg in 30 packs, of which 24 sold, 3 thrown away, 3 left."""
    lots = season()
    found = amounts(reconcile_lot(lots.firsts))

    assert found[Step.SOLD] == 24 * 200 * GRAM
    assert found[Step.THROWN] == 600 * GRAM
    assert found[Step.END] == 900 * GRAM + 600 * GRAM
    assert sum(found.values()) == 2 * 8 * KG


def test_a_lot_takes_its_part_of_packs_that_mix_two(world: World) -> None:
    """3 kg and 1 kg in 19 packs of 200 g: 3.8 kg, so 0.2 kg beyond; 4 packs thrown away."""
    one, other = (flush(world, blocks(world, 9), 1, kg * KG) for kg in (3, 1))
    made = packed(world, 19, Draw(one, 3 * KG), Draw(other, KG))
    throw_away(world.doing(reason="soft"), lot=made, quantity=4)

    assert amounts(reconcile_lot(one)) == {
        Step.PICKED: 3 * KG,
        Step.OVER: 150 * GRAM,
        Step.THROWN: 600 * GRAM,
        Step.END: 2_250 * GRAM,
    }
    assert amounts(reconcile_lot(other))[Step.THROWN] == 200 * GRAM
    assert amounts(reconcile_lot(made)) == {
        Step.PACKED: 3_800 * GRAM,
        Step.THROWN: 800 * GRAM,
        Step.END: 3_000 * GRAM,
    }


@pytest.mark.parametrize(
    ("why", "step"),
    [(Given.SAMPLE, Step.SAMPLES), (Given.GIFT, Step.GIFTS), (Given.OWN, Step.OWN)],
)
def test_what_was_given_away_is_told_apart(world: World, why: Given, step: Step) -> None:
    lot = flush(world, blocks(world), 1, KG)
    give_away(world.doing(reason="at noon"), why=why, draws=[Draw(lot, 120 * GRAM)])

    assert amounts(reconcile_lot(lot))[step] == 120 * GRAM


def test_what_a_count_misses_is_unexplained_and_what_it_finds_came_in(world: World) -> None:
    lot = flush(world, blocks(world), 1, KG)
    count_lot(world.doing(reason="not known"), lot=lot, difference=-90 * GRAM)
    count_lot(world.doing(), lot=lot, difference=40 * GRAM)

    assert amounts(reconcile_lot(lot)) == {
        Step.PICKED: KG,
        Step.FOUND: 40 * GRAM,
        Step.END: 950 * GRAM,
        Step.UNEXPLAINED: 90 * GRAM,
    }


def test_share_boxes_hold_shares_only(world: World) -> None:
    """The box scheme buys 300 g as any customer does; a member's box holds 2 packs of 200 g, of
    which one comes back: 200 g were given out.
    """
    world.kitchens.kind = PlaceKind.BOXES
    world.kitchens.save()
    loose, packed = flush(world, blocks(world), 1, KG), packs(world, 5)
    sold(world, loose, 300 * GRAM)
    doing = world.doing(sure=True)
    share = take_share(
        doing,
        customer=world.customer,
        season=Season(doing.day, 1, 4, 12 * UNIT),
        lines=[Wanted(world.product, 2)],
    )
    box = deliver(
        world.doing(minutes=0),
        order=share.order,
        due_on=doing.day,
        lines=[SoldLine(packed, 2, 5 * UNIT)],
    )
    take_back(world.doing(), sale_line=box.entry.sale.lines.get(), quantity=1)
    of_a_month = steps_taken(happened(FIRST, LAST), Form.FRESH)
    whole = amounts(reconcile(FIRST, LAST))

    assert amounts(reconcile_lot(loose)) == {
        Step.PICKED: KG,
        Step.SOLD: 300 * GRAM,
        Step.END: 700 * GRAM,
    }
    assert amounts(reconcile_lot(packed))[Step.SHARES] == 200 * GRAM
    for found in (whole, of_a_month):
        assert (found[Step.SHARES], found[Step.SOLD]) == (200 * GRAM, 300 * GRAM)


def test_more_back_than_sold_stands_on_the_other_side(world: World) -> None:
    """Sold in September, back in October: October's goods came in from a customer."""
    lot = flush(world, blocks(world), 1, KG)
    sale = sold(world, lot)
    world.wait(40)
    take_back(world.doing(), sale_line=sale.entry.sale.lines.get(), quantity=300 * GRAM)
    (back, left) = told(reconcile(world.now.date(), LAST))

    assert (back.label, back.came_in) == ("Sold, less than came back", 300 * GRAM)
    assert (left.step, left.went_out, left.left) == (Step.END, 300 * GRAM, 0)


# --- a selling place -------------------------------------------------------------------------


def test_a_load_is_sold_given_away_or_brought_back(world: World) -> None:
    """Took 40 packs of 200 g, cut up 1, brought back 9: sold 30."""
    lot = packs(world, 50)
    load = load_stall(world.doing(), place=world.stall, day=FIRST, lines=[Draw(lot, 40)])
    day = StallDay.objects.get(entry=load.entry)
    open_load = amounts(reconcile_place(world.stall, FIRST, FIRST))
    besides = Besides(given={Given.SAMPLE: [Draw(fresh(lot), 1)]})
    settle_stall(world.doing(), stall_day=day, brought_back={lot.pk: 9}, prices={}, besides=besides)

    assert open_load == {Step.LOADED: 8 * KG, Step.OUT: 8 * KG}
    assert amounts(reconcile_place(world.stall, FIRST, FIRST)) == {
        Step.LOADED: 8 * KG,
        Step.SOLD: 6 * KG,
        Step.SAMPLES: 200 * GRAM,
        Step.BACK: 1_800 * GRAM,
    }
    assert amounts(reconcile_place(world.stall, LAST, LAST)) == {}


def test_what_was_delivered_and_came_back_was_not_delivered(world: World) -> None:
    lot = flush(world, blocks(world), 1, KG)
    sale = sold(world, lot, 500 * GRAM)
    take_back(world.doing(), sale_line=sale.entry.sale.lines.get(), quantity=100 * GRAM)

    assert amounts(reconcile_place(world.kitchens, FIRST, LAST)) == {
        Step.DELIVERED: 400 * GRAM,
        Step.SOLD: 400 * GRAM,
    }
    assert amounts(reconcile_place(world.kitchens, FIRST, LAST, form=Form.DRIED)) == {}


# --- what is flagged -------------------------------------------------------------------------


@pytest.mark.parametrize(("missing_g", "flagged"), [(10, False), (11, True)])
def test_only_what_the_scale_cannot_explain_is_flagged(
    world: World, missing_g: int, flagged: bool
) -> None:
    """Picked and weighed again the same day, so no water: two weighings, 5 g each."""
    lot = flush(world, blocks(world), 1, KG)
    weigh_again(world.doing(sure=True), lot=lot, weight_mg=KG - missing_g * GRAM)
    found = reconcile_lot(lot)

    assert (found.unexplained_mg, found.scale_error_mg) == (missing_g * GRAM, 10 * GRAM)
    assert found.is_flagged is flagged


def test_water_inside_the_band_is_never_flagged(world: World) -> None:
    lot = flush(world, blocks(world), 1, KG)
    world.wait(2)
    weigh_again(world.doing(), lot=lot, weight_mg=965 * GRAM)  # 2 % a day: up to 39.6 g

    assert amounts(reconcile_lot(lot))[Step.WATER] == 35 * GRAM
    assert verdict(reconcile_lot(lot)) == "nothing is unexplained"


# --- as it is shown --------------------------------------------------------------------------


def test_both_sides_of_the_table_come_to_the_same_and_shares_to_the_whole() -> None:
    season()
    table = steps_table(reconcile(FIRST, LAST))

    assert table.total
    assert table.total[1] == table.total[2] == 10 * KG
    assert sum(row[4] for row in table.rows if isinstance(row[4], int)) == 1_000_000
    assert table.columns[4].name == "Of 10.00 kg that came in"


def test_the_drawing_says_what_the_table_prints() -> None:
    season()
    found = reconcile(FIRST, LAST)
    (drawing,) = steps_drawings(found)

    for row in rows.printed(steps_table(found)).rows:
        assert f"{row[0]} {row[1] or '- ' + row[2]}" in drawing.description


def test_nothing_is_drawn_of_nothing() -> None:
    season()
    empty = reconcile(date(2020, 1, 1), date(2020, 1, 31))

    assert (steps_drawings(empty), steps_table(empty).rows) == ((), ())


# --- the page --------------------------------------------------------------------------------


def read(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


def test_a_helper_asks_where_a_month_went(helper: Client, farm: Farm) -> None:
    lots = season()
    page = read(helper, "/where/?first=2026-09-01&last=2026-12-31")

    assert "Where did 10.00 kg" in page
    assert 'href="#went-into-the-dryer"' in page
    assert f'href="/where/{lots.firsts.code}/"' in page
    assert "EUR" not in page


def test_a_lots_code_leads_to_its_own(helper: Client, farm: Farm) -> None:
    lots = season()
    code = lots.firsts.code

    assert helper.get("/where/", {"lot": code.lower()})["Location"] == f"/where/{code}/"
    assert "Where did 8.00 kg" in read(helper, f"/where/{code}/")
    assert helper.get(f"/where/{lots.grown.spawn.code}/").status_code == 404


def test_a_lots_page_leads_to_where_it_went(helper: Client, farm: Farm) -> None:
    code = season().packs.code

    assert f'href="/where/{code}/"' in read(helper, f"/lots/{code}/")


def test_a_place_is_asked_for(helper: Client, farm: Farm) -> None:
    lots = season()
    page = read(helper, f"/where/?first=2026-10-01&last=2026-10-31&place={lots.world.stall.pk}")

    assert "Brought back" in page
    assert f"{lots.world.stall}, fresh, 1 Oct 2026 to 31 Oct 2026" in page


def test_days_the_wrong_way_round_are_refused(helper: Client, farm: Farm) -> None:
    page = read(helper, "/where/?first=2026-10-31&last=2026-10-01")

    assert "Thu 1 Oct 2026 is before the first day, Sat 31 Oct 2026." in page


def test_it_is_taken_away_as_a_paper(helper: Client, farm: Farm) -> None:
    season()
    taken = helper.get("/where/?first=2026-09-01&last=2026-12-31&file=pdf")

    assert taken.content.startswith(b"%PDF")
