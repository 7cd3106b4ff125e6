"""What a block and a kilo cost: the parts add up, losses divide, dried counts once."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.blocks import inoculate_blocks
from farm.actions.growing.cultures import clone_culture
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.packing import pack
from farm.models import Stage
from farm.queries.costs.costs import CostOfLot, cost_of
from farm.queries.costs.kilos import Kilo
from farm.queries.finding import UnknownLotError, find_lot
from farm.reports.costs.cost_rows import cost_report
from farm.reports.rows import printed, show_fact
from farm.reports.xlsx import workbook_bytes
from ledger.models import Lot
from tests.farm.season import MADE, Season, season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    World,
    filled_bags,
    fresh,
    fruiting,
    prepared_grain,
    run,
    small_farm,
)

pytestmark = pytest.mark.django_db


def answer(lot: Lot) -> CostOfLot:
    return cost_of(find_lot(lot.code))


def kilo(cost: CostOfLot, name: str) -> Kilo:
    return next(kilo for kilo in (*cost.kilos.fresh, *cost.kilos.dried) if kilo.name == name)


def per_kg(lot: Lot, name: str) -> int | None:
    return kilo(answer(lot), name).per_kg


def every_lot() -> list[Lot]:
    return list(Lot.objects.order_by("pk"))


def test_the_lines_of_every_lot_add_up_to_its_cost_in_each_kind() -> None:
    season()

    for lot in every_lot():
        cost = answer(lot)
        lines = [line.cost for line in cost.lines]
        assert cost.cost == tuple(map(sum, zip((0,) * 5, *lines, strict=True))), lot.code


def test_what_came_into_a_lot_is_used_sold_lost_or_on_hand() -> None:
    season()

    for lot in every_lot():
        cost = answer(lot)
        assert cost.cost == tuple(map(sum, zip(*(parts for _, parts in cost.went), strict=True)))


def test_a_block_lot_names_what_it_consists_of() -> None:
    grown = season().grown
    lines = {(line.what, line.lot_code) for line in answer(grown.blocks).lines}

    assert ("Filled bags, Sawdust", grown.bags.code) in lines
    assert ("Grain spawn, Oyster · Grey", grown.spawn.code) in lines
    assert ("Labour, own: inoculate blocks", "") in lines
    assert ("Labour, own: check", "") in lines


def test_filled_bags_show_the_energy_of_their_run() -> None:
    lines = {line.what: line.cost for line in answer(season().grown.bags).lines}

    # 20 kWh at 0.30 a kWh, all for the one lot that was in.
    assert lines["Energy: steriliser run"] == (0, 0, 0, 6 * UNIT, 0)


@pytest.mark.parametrize(("minutes", "said"), [(None, "usual time"), (25, "time stated")])
def test_labour_says_whether_somebody_typed_its_minutes(minutes: int | None, said: str) -> None:
    world = small_farm()
    draws = [
        Draw(world.received("rye", 885 * GRAM), 885 * GRAM),
        Draw(world.received("grain bag", 1), 1),
    ]
    doing = world.doing(minutes=minutes)
    grain = prepare_grain(doing, recipe=world.grain_recipe, bags=1, draws=draws).lots[-1]
    run(world, grain)
    known = {line.what: line.known for line in answer(grain).lines}

    assert known["Labour, own: prepare grain"] == f"{said}, planned rate"
    assert known["Labour, own: steriliser run"] == "usual time, planned rate"
    assert known["Energy: steriliser run"] == "planned rate"


def test_a_block_costs_more_where_some_were_lost_before_the_first_pick() -> None:
    cost = answer(season().grown.blocks)
    total = sum(cost.cost)

    assert (cost.made.pieces, cost.good.pieces) == (40, 39)
    assert cost.per_unit(cost.made) == round(Fraction(total, 40))
    assert cost.per_unit(cost.good) == round(Fraction(total, 39))


def test_a_weighed_lot_is_divided_by_kilos() -> None:
    cost = answer(season().grown.spawn)

    assert cost.unit == "kg"
    # 7 bags of 1.36 kg.
    assert cost.per_unit(cost.made) == round(Fraction(sum(cost.cost) * KG, 9_520 * GRAM))


def test_trim_weighs_but_takes_no_cost_of_a_kilo_sold_away() -> None:
    cost = answer(season().grown.blocks)
    picked, saleable = kilo(cost, "picked"), kilo(cost, "saleable")

    assert (picked.mass_mg, saleable.mass_mg) == (10 * KG, 9_500 * GRAM)
    # Where grades share by mass, trim takes none.
    assert picked.cost == saleable.cost == answer_cost(season_lots("picked"))


def season_lots(stage: str) -> list[Lot]:
    return [lot for lot in every_lot() if Stage(lot.card.stage).label == stage]


def answer_cost(lots: list[Lot]) -> tuple[int, ...]:
    return tuple(map(sum, zip(*(answer(lot).cost for lot in lots), strict=True)))


def test_sold_kilos_pay_for_what_was_lost() -> None:
    lots = season()
    cost = answer(lots.grown.blocks)
    sold = kilo(cost, "sold (before selling costs)")
    went = [dict(answer(lot).went) for lot in (lots.packs, lots.seconds)]

    # 24 packs and half a kilo of seconds stayed sold: 5.3 kg; three packs were thrown away.
    assert sold.mass_mg == 5_300 * GRAM
    assert sum(sold.cost) == sum(sum(w["sold"]) for w in went) + sum(went[0]["lost"])


def test_a_kilo_sold_at_a_place_pays_for_the_place() -> None:
    cost = answer(season().grown.blocks)
    market = kilo(cost, "sold at Saturday market (after selling costs)")
    sold = kilo(cost, "sold (before selling costs)")

    # The day's fee of 25.00 and 7 hours at 18.00 over 1.2 kg, and three packs lost by kilos.
    assert market.mass_mg == 1_200 * GRAM
    assert sum(market.cost) > 151 * UNIT
    assert (market.per_kg or 0) - (sold.per_kg or 0) == pytest.approx(1_258_000, abs=3_000)


def test_the_costs_at_all_places_add_up_to_all_sold_and_selling() -> None:
    cost = answer(season().grown.blocks)
    places = [k for k in cost.kilos.fresh if k.name.startswith("sold at")]
    sold = kilo(cost, "sold (before selling costs)")

    assert sum(k.mass_mg for k in places) == sold.mass_mg
    total = sum(sum(k.cost) for k in places)
    assert abs(total - sum(sold.cost) - 151 * UNIT) <= 5  # each rounded once, kind by kind


def test_dried_mushrooms_are_in_no_fresh_kilo() -> None:
    lots = season()
    cost = answer(lots.grown.blocks)
    packed = kilo(cost, "packed")

    # 30 packs of 200 g and 0.5 kg sold loose; what was dried is elsewhere, with its own cost.
    assert packed.mass_mg == 6_500 * GRAM
    assert kilo(cost, "dried").mass_mg == 110 * GRAM
    assert kilo(cost, "dried").cost == answer(lots.dried).cost


def test_without_own_hours_a_kilo_is_cheaper() -> None:
    picked = kilo(answer(season().grown.blocks), "picked")

    assert picked.per_kg_without_own == round(
        Fraction((sum(picked.cost) - picked.cost[2]) * KG, 10 * KG)
    )
    assert (picked.per_kg_without_own or 0) < (picked.per_kg or 0)


def test_a_kilo_is_provisional_while_a_flush_is_still_to_come() -> None:
    lots = season(spent=False)
    blocks = lots.grown.blocks

    assert answer(lots.packs).kilos.provisional == (blocks.code,)
    mark_spent(lots.world.doing(), lot=fresh(blocks))
    assert answer(lots.packs).kilos.provisional == ()


def test_a_kilo_of_blocks_not_yet_picked_is_blank_and_says_why() -> None:
    cost = answer(fruiting(small_farm()))

    assert [k.per_kg for k in cost.kilos.fresh] == [None] * 4
    assert kilo(cost, "picked").blank == "Nothing picked yet."
    assert kilo(cost, "sold (before selling costs)").blank == "Nothing sold yet."


def test_a_lot_that_went_into_no_blocks_has_no_kilo() -> None:
    world = small_farm()

    assert answer(world.received("punnet", 5)).kilos.fresh == ()


@pytest.mark.parametrize("lot", ["culture", "grain", "spawn", "bags"])
def test_all_that_went_into_one_lot_of_blocks_has_the_same_kilos(lot: str) -> None:
    grown = season().grown

    assert answer(getattr(grown, lot)).kilos == answer(grown.blocks).kilos


@pytest.mark.parametrize("lot", ["firsts", "trim", "packs", "dried"])
def test_all_that_came_of_one_lot_of_blocks_has_the_same_kilos(lot: str) -> None:
    lots = season()

    assert answer(getattr(lots, lot)).kilos == answer(lots.grown.blocks).kilos


def test_a_mixed_pack_is_credited_by_weight() -> None:
    world = small_farm()
    one, other = fruiting(world, 10), fruiting(world, 10)
    picks = [picked_from(world, blocks, 2 * KG) for blocks in (one, other)]
    world.received("punnet", 10)
    draws = [Draw(picks[0], 1_500 * GRAM), Draw(picks[1], 500 * GRAM)]
    pack(world.doing(), product=world.product, packs=10, draws=draws)

    # Three quarters of 10 packs of 200 g came from the first blocks.
    assert kilo(answer(one), "packed").mass_mg == 1_500 * GRAM
    assert kilo(answer(other), "packed").mass_mg == 500 * GRAM


def test_firsts_and_seconds_in_one_pack_count_once() -> None:
    world = small_farm()
    blocks = fruiting(world, 10)
    recorded = pick(
        replace(world.doing(), sure=True),
        given=[Draw(blocks, 0)],
        flush=1,
        firsts_mg=KG,
        seconds_mg=KG,
    )
    world.received("punnet", 10)
    draws = [Draw(fresh(lot), KG) for lot in recorded.lots[-2:]]
    pack(world.doing(), product=world.product, packs=10, draws=draws)

    assert kilo(answer(blocks), "packed").mass_mg == 2 * KG


def test_blocks_grown_from_a_clone_of_a_pick_are_another_story() -> None:
    world = small_farm()
    first = fruiting(world, 10)
    later = grown_from_clone(world, picked_from(world, first, 2 * KG))
    picked_from(world, later, KG)

    assert answer(first).kilos.blocks == (first.code,)
    assert kilo(answer(first), "picked").mass_mg == 2 * KG
    assert answer(later).kilos.blocks == (later.code,)
    assert kilo(answer(later), "picked").mass_mg == KG


def grown_from_clone(world: World, pick: Lot) -> Lot:
    """Five blocks from spawn of a culture that was cloned from a pick."""
    clone = clone_culture(world.doing(), source=pick, piece_mg=GRAM, portions=2).lots[-1]
    grain = prepared_grain(world, 1)
    run(world, grain)
    spawn = inoculate_grain(world.doing(), grain=grain, bags=1, source=fresh(clone), amount=1).lots[
        -1
    ]
    bags = filled_bags(world, 5)
    draws = [Draw(fresh(spawn), KG)]
    return fresh(inoculate_blocks(world.doing(), bags=bags, count=5, spawn=draws).lots[-1])


def picked_from(world: World, blocks: Lot, firsts_mg: int) -> Lot:
    doing = replace(world.doing(), sure=True)
    recorded = pick(doing, given=[Draw(blocks, 0)], flush=1, firsts_mg=firsts_mg)
    return fresh(recorded.lots[-1])


def test_the_report_says_each_kilo_by_name_with_its_basis() -> None:
    report = cost_report(answer(season().grown.blocks), MADE)
    table = next(table for table in report.tables if table.title == "A kilo")

    assert [row[0] for row in table.rows] == [
        "picked",
        "saleable",
        "packed",
        "sold (before selling costs)",
        "sold at Kitchens (after selling costs)",
        "sold at Saturday market (after selling costs)",
    ]
    assert all(row[5] for row in table.rows)


def test_the_lines_of_the_report_add_up_to_the_fact_above_them() -> None:
    report = cost_report(answer(season().grown.blocks), MADE)
    lines = next(table for table in report.tables if table.title == "Line by line")

    assert lines.total and lines.total[-1] == report.facts[0].value


@pytest.mark.parametrize("lot", ["spawn", "blocks", "firsts", "packs"])
def test_every_printed_total_of_one_figure_is_the_same(lot: str) -> None:
    lots = season()
    report = cost_report(answer(getattr(lots, lot, None) or getattr(lots.grown, lot)), MADE)
    shown = {table.title: printed(table, "EUR") for table in report.tables}
    so_far = shown["By kind"].rows[0]

    for title in ("Line by line", "Where the cost is now"):
        total = shown[title].total
        assert total and total[-6:] == so_far[-6:]
    assert show_fact(report.facts[0], "EUR") == f"€{so_far[-1]}"


def test_a_farm_in_pounds_sees_each_kilo_beside_its_pound() -> None:
    report = cost_report(answer(season().grown.blocks), replace(MADE, weight_unit="lb"))
    table = next(table for table in report.tables if table.title == "A kilo")
    heads = printed(table, "EUR").heads
    picked_kilo = dict(zip(heads, printed(table, "EUR").rows[0], strict=True))

    per_kg, per_lb = (
        Decimal(picked_kilo[f"With own hours, EUR per {unit}"]) for unit in ("kg", "lb")
    )
    assert abs(per_kg * Decimal("0.45359237") - per_lb) <= Decimal("0.01")
    assert {"Weight, kg", "Weight, lb"} <= set(heads)
    assert workbook_bytes(report)


def test_a_farm_in_kilograms_sees_no_pounds() -> None:
    report = cost_report(answer(season().grown.blocks), MADE)

    assert not any("lb" in head for table in report.tables for head in printed(table, "EUR").heads)


def test_the_number_of_queries_does_not_grow_with_the_history() -> None:
    lots = season()
    before = queries(lots.grown.blocks)
    more_sales(lots)

    assert queries(lots.grown.blocks) == before


def queries(lot: Lot) -> int:
    with CaptureQueriesContext(connection) as asked:
        answer(lot)
    return len(asked)


def more_sales(lots: Season) -> None:
    for _ in range(2):
        sell(
            lots.world.doing(),
            place=lots.world.kitchens,
            customer=lots.world.customer,
            lines=[SoldLine(fresh(lots.packs), 1, 4 * UNIT)],
        )


def test_a_code_with_one_wrong_sign_is_not_found_but_suggested() -> None:
    code = season().packs.code
    wrong = ("2" if code[0] != "2" else "3") + code[1:]

    with pytest.raises(UnknownLotError) as refusal:
        find_lot(wrong)
    assert code in refusal.value.suggestions


def test_a_code_may_be_typed_as_it_comes() -> None:
    lot = small_farm().received("rye", KG)

    assert find_lot(f" {lot.code[:2].lower()}-{lot.code[2:].lower()} ").pk == lot.pk
