"""Back from a punnet to its grain and its supplier; forward to what is here and who received it."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.models import Customer, Stage, StallDay
from farm.queries.finding import Amount, find_lot
from farm.queries.tracing.traces import Side, Trace, TracedLot, trace_of
from farm.reports.tracing import trace_picture
from farm.reports.tracing.trace_rows import trace_report
from ledger import waiting
from ledger.models import Entry, Lot
from ledger.tracing import ancestors, reach
from tests.farm.season import MADE, MARKET_DAY, Season, season
from tests.farm.world import GRAM, KG, UNIT, World, fresh, fruiting, small_farm

pytestmark = pytest.mark.django_db


def traced(lot: Lot) -> Trace:
    return trace_of(find_lot(lot.code))


def by_code(side: Side) -> dict[str, TracedLot]:
    return {lot.code: lot for lot in side.lots}


def behind(lot: Lot) -> dict[str, TracedLot]:
    return by_code(traced(lot).behind)


def sack_of_sawdust() -> Lot:
    return Lot.objects.get(item__name="sawdust")


# --- back ------------------------------------------------------------------------------------


def test_back_from_a_punnet_stands_every_lot_behind_it() -> None:
    lots = season()
    grown = lots.grown
    found = set(behind(lots.packs))

    assert {lot.code for lot in grown} <= found
    assert {lot.code for lot in Lot.objects.filter(card__stage=Stage.SUPPLY)} <= found
    assert lots.seconds.code not in found


def test_a_supplier_lot_is_named_with_its_supplier() -> None:
    found = behind(season().packs)[sack_of_sawdust().code]

    assert found.supplier == "Mill & Sons, lot sawdust 26-31"


@pytest.mark.parametrize(
    ("spent", "whole_g"),
    [
        # 10 kg of the first flush; still expected of 39 blocks the rest of its 500 g, and 260 g.
        (False, 10_000 + (39 * 500 - 10_000) + 39 * 260),
        (True, 10_000),  # spent: nothing more is expected
    ],
)
def test_back_says_how_much_of_each_is_in_the_lot(spent: bool, whole_g: int) -> None:
    lots = season(spent=spent)
    found = behind(lots.packs)

    # Of 39 kg of sawdust went as much along as the pick took of all that was picked and is still
    # expected, and 6 of the 10 kg are in the packs.
    assert found[lots.firsts.code].share.mass_mg == 6 * KG
    inside_mg = 39 * KG * 6_000 // whole_g
    assert found[sack_of_sawdust().code].share.mass_mg == pytest.approx(inside_mg, abs=1)


def test_back_finds_both_steriliser_runs_with_what_was_read() -> None:
    lots = season()
    grain, bags = traced(lots.packs).runs

    assert (grain.lot_codes, bags.lot_codes) == ((lots.grown.grain.code,), (lots.grown.bags.code,))
    assert (bags.steriliser, bags.minutes, bags.gauge_pa) == ("Steam drum", 150, 103_000)
    assert bags.by == "OL"


def test_back_lists_who_did_what_and_when_it_was_recorded() -> None:
    kinds = [work.what for work in traced(season().packs).works]

    assert kinds.count("steriliser run") == 2
    assert kinds[-2:] == ["pack", "spent"]
    assert "check" in kinds


def test_all_is_certain_behind_a_punnet_of_one_pick() -> None:
    assert all(lot.certain for lot in traced(season().packs).behind.lots)


def test_one_of_two_picks_in_a_punnet_is_possible_only() -> None:
    world = small_farm()
    one, other = fruiting(world, 10), fruiting(world, 10)
    packs = packed_of(world, [one, other])
    found = behind(packs)

    assert not found[one.code].certain
    assert not found[other.code].certain
    # The punnet itself is in every one of them.
    assert found[Lot.objects.get(item__name="punnet").code].certain


def test_back_is_certain_where_forward_would_be() -> None:
    world = small_farm()
    packs = packed_of(world, [fruiting(world, 10), fruiting(world, 10)])
    certain = {lot.code for lot in traced(packs).behind.lots if lot.certain}

    for lot in Lot.objects.filter(pk__in=ancestors([packs.pk])):
        assert (packs.pk in reach([lot.pk]).certain) == (lot.code in certain), lot.code


def packed_of(world: World, blocks: list[Lot]) -> Lot:
    """10 packs of 200 g, half from each."""
    draws = []
    for lot in blocks:
        doing = replace(world.doing(), sure=True)
        recorded = pick(doing, given=[Draw(lot, 0)], flush=1, firsts_mg=KG)
        draws.append(Draw(fresh(recorded.lots[-1]), KG))
    world.received("punnet", 10)
    return fresh(pack(world.doing(), product=world.product, packs=10, draws=draws).lots[-1])


# --- forward ---------------------------------------------------------------------------------


def test_forward_adds_up_to_the_lot() -> None:
    season()
    trace = traced(sack_of_sawdust())

    assert trace.whole.mass_mg == 39 * KG
    assert sum(share.mass_mg or 0 for share in shares(trace)) == 39 * KG


def test_every_lot_adds_up_forward() -> None:
    season()

    for lot in Lot.objects.order_by("pk"):
        trace = traced(lot)
        counted = trace.whole.pieces is not None
        parts = [share.pieces if counted else share.mass_mg for share in shares(trace)]
        whole = trace.whole.pieces if counted else trace.whole.mass_mg
        assert sum(part or 0 for part in parts) == whole, lot.code


def shares(trace: Trace) -> list[Amount]:
    """What of the lot is still here, was sold, was lost."""
    kept = [lot.share for lot in trace.made_of.lots]
    return kept + [sale.share for sale in trace.sales] + [loss.share for loss in trace.losses]


def test_forward_names_the_customer_and_what_was_sold() -> None:
    lots = season()
    lots.world.customer.contact = "01 234"
    lots.world.customer.save()
    sales = [sale for sale in traced(lots.grown.grain).sales if sale.customer]

    assert {(sale.customer, sale.contact) for sale in sales} == {("The Anchor", "01 234")}
    assert [(sale.lot_code, sale.amount.pieces) for sale in sales if sale.amount.pieces] == [
        (lots.packs.code, 20),
        (lots.packs.code, -2),
    ]


def test_what_came_back_stands_below_zero_with_its_customer() -> None:
    returned = [sale for sale in traced(season().packs).sales if sale.what == "came back"]

    assert [(sale.amount.pieces, sale.customer_number[0]) for sale in returned] == [(-2, "K")]


def test_forward_says_where_the_rest_stands() -> None:
    lots = season()
    here = by_code(traced(lots.grown.spawn).made_of)[lots.firsts.code]

    assert here.shelf == "Fridge, 1"
    assert here.on_hand.mass_mg == 900 * GRAM


def test_forward_lists_what_was_thrown_away_and_why() -> None:
    lots = season()
    losses = [(loss.lot_code, loss.reason) for loss in traced(lots.grown.grain).losses]

    assert (lots.packs.code, "unsold") in losses
    assert (lots.grown.blocks.code, "green mould") in losses


def test_a_drawing_of_many_lots_puts_those_of_one_kind_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = small_farm()
    packs = packed_of(world, [fruiting(world, 10), fruiting(world, 10)])
    monkeypatch.setattr(trace_picture, "MOST_BOXES", 5)
    drawing = trace_report(traced(packs), MADE, names=True).drawings[0]
    words = [getattr(shape, "words", "") for shape in drawing.shapes]

    # Two lots each of rye, grain bags, sawdust and so on share a box; the punnet and the packs,
    # of which there is one, do not.
    assert words.count("2 lots") == 10
    assert packs.code in words


# --- stalls ----------------------------------------------------------------------------------


def test_a_load_not_wholly_brought_back_is_possible() -> None:
    (load,) = traced(season().packs).loads

    assert (load.place, load.day, load.settled) == ("Saturday market", MARKET_DAY, True)
    assert (load.loaded.pieces, load.sold.pieces) == (10, 6)


def test_a_load_not_yet_settled_is_possible() -> None:
    lots = season()
    loaded(lots)

    assert [load.settled for load in traced(lots.packs).loads] == [True, False]


def test_a_load_wholly_brought_back_is_out_of_it() -> None:
    lots = season()
    stall_day = StallDay.objects.get(entry=loaded(lots))
    brought_back = {lots.packs.pk: 1}
    settle_stall(lots.world.doing(), stall_day=stall_day, brought_back=brought_back, prices={})

    assert len(traced(lots.packs).loads) == 1


def test_a_load_taken_back_is_out_of_it() -> None:
    lots = season()
    undo(lots.world.doing(), loaded(lots))

    assert len(traced(lots.packs).loads) == 1


def loaded(lots: Season) -> Entry:
    """One more pack goes to the market."""
    draws = [Draw(fresh(lots.packs), 1)]
    world = lots.world
    return load_stall(world.doing(), place=world.stall, day=MARKET_DAY, lines=draws).entry


# --- what waits, how it reads, how much it asks ----------------------------------------------


def test_waiting_entries_about_a_lot_of_the_trace_are_counted() -> None:
    lots = season()
    waiting.keep(uuid4(), "sell", "{}", refusal="not yet", lots=[lots.packs.code], by=1)

    assert traced(lots.grown.culture).waiting == 1
    assert traced(lots.seconds).waiting == 0


def test_an_undone_sale_is_gone() -> None:
    lots = season()
    undo(lots.world.doing(), lots.stall.entry)

    assert "Saturday market" not in {sale.place for sale in traced(lots.packs).sales}


def test_names_are_left_out_for_those_who_may_not_see_them() -> None:
    trace = traced(season().packs)

    assert "The Anchor" in str(trace_report(trace, MADE, names=True))
    assert "The Anchor" not in str(trace_report(trace, MADE, names=False))
    anchor = Customer.objects.get(name="The Anchor")
    assert anchor.number in str(trace_report(trace, MADE, names=False))


def test_the_drawing_ends_at_the_customer() -> None:
    report = trace_report(traced(season().grown.grain), MADE, names=True)
    words = {getattr(shape, "words", "") for shape in report.drawings[1].shapes}

    assert {"sold", "Saturday market", "this lot"} <= words


def test_the_number_of_queries_does_not_grow_with_the_history() -> None:
    lots = season()
    before = asked(lots.packs)
    for _ in range(2):
        line = SoldLine(fresh(lots.packs), 1, 4 * UNIT)
        sell(
            lots.world.doing(),
            place=lots.world.kitchens,
            customer=lots.world.customer,
            lines=[line],
        )

    assert asked(lots.packs) == before <= 15


def asked(lot: Lot) -> int:
    found = find_lot(lot.code)
    with CaptureQueriesContext(connection) as queries:
        trace_of(found)
    return len(queries)
