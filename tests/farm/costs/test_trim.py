"""Trim is in picked only: every kilo from saleable on leaves it out with its cost."""

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

import pytest

from farm.actions.common import Draw
from farm.actions.growing.harvesting import Valued, mark_spent, pick, pick_by_value
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry, throw_away
from farm.models import Form, Grade, Product, SaleLine
from farm.queries.costs.costs import CostOfLot, cost_of
from farm.queries.costs.kilos import Kilo
from farm.reports.costs.cost_rows import cost_report
from farm.reports.report_heading import Made
from ledger.models import Lot
from tests.farm.costed import blocks_at, costless_farm
from tests.farm.world import GRAM, KG, START, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db

PAID = Fraction(22_689, 100)


@pytest.fixture
def world() -> World:
    """A farm where nothing costs but the blocks, and 200 g go into a punnet for nothing."""
    world = costless_farm()
    world.product.tax_ppm = 0
    world.product.save()
    return world


class Picked(NamedTuple):
    blocks: Lot
    firsts: Lot
    seconds: Lot
    trim: Lot


def graded(world: World, worth: Mapping[Grade, int] | None = None) -> Picked:
    """8 kg of firsts, 1 kg of seconds and 3 kg of trim for 226.89, by mass or by what is worth."""
    blocks = blocks_at(world, 40, PAID)
    given, doing = [Draw(blocks, 0)], world.doing(sure=True)
    weights = {Grade.FIRSTS: 8 * KG, Grade.SECONDS: KG, Grade.TRIM: 3 * KG}
    if worth:
        grades = {grade: Valued(mg, worth[grade] * UNIT) for grade, mg in weights.items()}
        lots = pick_by_value(doing, given=given, flush=1, grades=grades).lots[1:]
    else:
        lots = pick(
            doing, given=given, flush=1, firsts_mg=8 * KG, seconds_mg=KG, trim_mg=3 * KG
        ).lots[1:]
    mark_spent(world.doing(), lot=fresh(blocks))
    return Picked(fresh(blocks), *map(fresh, lots))


def cost(lot: Lot) -> CostOfLot:
    return cost_of(Lot.objects.select_related("item", "card", "made_by").get(pk=lot.pk))


def kilos(lot: Lot) -> dict[str, Kilo]:
    found = cost(lot).kilos
    return {kilo.name: kilo for kilo in (*found.fresh, *found.dried)}


def per_kg(lot: Lot) -> dict[str, int | None]:
    return {name: kilo.per_kg for name, kilo in kilos(lot).items()}


def packed(world: World, *lots: Lot) -> Lot:
    mass_mg = sum(lot.quantity for lot in lots)
    packs = mass_mg // (200 * GRAM)
    world.received("punnet", packs, 0)
    draws = [Draw(lot, lot.quantity) for lot in lots]
    return fresh(pack(world.doing(), product=world.product, packs=packs, draws=draws).lots[-1])


def loose(world: World, lot: Lot, quantity: int, kilo_money: int) -> None:
    sell(world.doing(sure=True), place=world.stall, lines=[SoldLine(lot, quantity, kilo_money)])


SOLD = "sold (before selling costs)"


def test_all_packed_and_sold_trim_is_in_picked_alone(world: World) -> None:
    """226.89 over 12 kg is 18.9075; over the 9 kg of firsts and seconds 25.21."""
    lots = graded(world)
    packs = packed(world, lots.firsts, lots.seconds)
    trim = packed(world, lots.trim)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(packs, packs.quantity, 5 * UNIT, world.product)],
    )
    sell(
        world.doing(sure=True), place=world.stall, lines=[SoldLine(trim, 15, 8_000, world.product)]
    )
    found = per_kg(lots.blocks)

    assert found["picked"] == 18_9075
    assert {found[name] for name in ("saleable", "packed", SOLD)} == {25_2100}
    assert found["sold at Kitchens (after selling costs)"] == 25_2100
    assert "sold at Saturday market (after selling costs)" not in found
    sold = cost(lots.blocks).kilos.trim
    assert sold and (sold.mass_mg, sold.net) == (3 * KG, 12 * UNIT)
    assert_book_is_sound()


def test_what_trim_sold_for_stands_beside_the_kilos(world: World) -> None:
    lots = graded(world)
    loose(world, lots.trim, 3 * KG, 4 * UNIT)
    made = Made("Alder Lane, Lowfield", "EUR", "OL", START)
    notes = [table.note for table in cost_report(cost(lots.firsts), made).tables]

    words = "Trim is in picked only; and 3.00 kg · 6.61 lb of trim sold for €12.00."
    assert any(words in note for note in notes), notes[1]


def test_trim_that_carries_cost_by_worth_takes_it_along_out_of_every_kilo(world: World) -> None:
    """Worth 8 x 20, 1 x 10 and 3 x 10: trim carries 30 of 200 parts, 34.0335 of 226.89."""
    lots = graded(world, {Grade.FIRSTS: 20, Grade.SECONDS: 10, Grade.TRIM: 10})
    loose(world, lots.firsts, 8 * KG, 20 * UNIT)
    loose(world, lots.seconds, KG, 10 * UNIT)
    loose(world, lots.trim, 3 * KG, 4 * UNIT)
    found = per_kg(lots.blocks)

    assert sum(lots.trim.cost) == 34_0335
    assert found["picked"] == 18_9075
    assert {found[name] for name in ("saleable", "packed", SOLD)} == {21_4285}  # 192.8565 / 9


def test_trim_thrown_away_makes_no_other_kilo_dearer(world: World) -> None:
    lots = graded(world, {Grade.FIRSTS: 20, Grade.SECONDS: 10, Grade.TRIM: 10})
    loose(world, lots.firsts, 8 * KG, 20 * UNIT)
    throw_away(world.doing(reason="unsold"), lot=lots.trim, quantity=3 * KG)

    assert per_kg(lots.blocks)[SOLD] == 22_6890  # 160 of the 200 parts, over 8 kg
    assert cost(lots.blocks).kilos.trim is None


def test_trim_that_came_back_was_not_sold(world: World) -> None:
    lots = graded(world)
    loose(world, lots.trim, 3 * KG, 4 * UNIT)
    line = SaleLine.objects.get(line__lot=lots.trim)
    back = take_back(world.doing(sure=True), sale_line=line, quantity=KG).entry
    sold = cost(lots.blocks).kilos.trim
    assert sold and (sold.mass_mg, sold.net) == (2 * KG, 8 * UNIT)

    undo(world.doing(reason="it did not"), back)
    sold = cost(lots.blocks).kilos.trim
    assert sold and (sold.mass_mg, sold.net) == (3 * KG, 12 * UNIT)


def test_of_trim_dried_with_firsts_only_the_firsts_are_in_the_dried_kilo(world: World) -> None:
    """1 kg of firsts at 25.21 and 1 kg of trim at nothing give 200 g: 25.21 for the half of it."""
    lots = graded(world)
    draws = [Draw(lots.firsts, KG), Draw(lots.trim, KG)]
    jar = dry(
        world.doing(sure=True),
        draws=draws,
        dried_mg=200 * GRAM,
        temperature_milli_c=50_000,
        minutes_drying=600,
    ).lots[-1]
    found = kilos(lots.blocks)["dried"]

    assert sum(fresh(jar).cost) == 25_2100
    assert (sum(found.cost), found.mass_mg, found.per_kg) == (25_2100, 100 * GRAM, 252_1000)
    dried = Product.objects.create(
        name="Dried, 20 g",
        species=world.species,
        form=Form.DRIED,
        net_mg=20 * GRAM,
        tax_ppm=0,
        pack=world.product.pack,
        packaging=world.product.packaging,
    )
    world.received("punnet", 10, 0)
    packs = pack(
        world.doing(sure=True), product=dried, packs=10, draws=[Draw(fresh(jar), 200 * GRAM)]
    ).lots[-1]
    loose_packs = SoldLine(fresh(packs), 10, 10 * UNIT, dried)
    sell(world.doing(sure=True), place=world.stall, lines=[loose_packs])
    found = kilos(lots.blocks)[f"dried, {SOLD}"]
    assert (sum(found.cost), found.mass_mg) == (25_2100, 100 * GRAM)
    trim = cost(lots.blocks).kilos.trim
    assert trim and (trim.mass_mg, trim.net) == (100 * GRAM, 50 * UNIT)
