"""A short season on the small farm, for the three answers: from a sack to two customers.

40 blocks, one lost; a first flush of 10 kg, a second; packs to the kitchens and to the stall.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry, throw_away, weigh_again
from farm.models import StallDay
from farm.reports.report_heading import Made
from ledger.book import Recorded
from ledger.models import Lot
from tests.copied import copied
from tests.farm.world import GRAM, KG, UNIT, Grown, World, fresh, grow, small_farm

MARKET_DAY = date(2026, 10, 17)
MADE = Made("Alder Lane, Lowfield", "EUR", "olive", datetime(2026, 11, 2, 18, 30, tzinfo=UTC))


@dataclass
class Season:
    """The lots and entries of the season; everything sold happens in October 2026."""

    world: World
    grown: Grown
    firsts: Lot
    seconds: Lot
    trim: Lot
    packs: Lot
    dried: Lot
    delivery: Recorded
    stall: Recorded


@copied
def season(*, spent: bool = True) -> Season:
    world = small_farm()
    grown = grow(world)
    blocks = grown.blocks
    world.wait(20)
    check(world.doing(reason="green mould"), lot=blocks, colonised_percent=90, lost=1)
    firsts, seconds, trim = _first_flush(world, fresh(blocks))
    packs = _packed(world, firsts)
    delivery = sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(packs, 20, 4 * UNIT), SoldLine(seconds, 500 * GRAM, 12 * UNIT)],
    )
    stall = _stall_day(world, fresh(packs))
    _returned(world, delivery)
    world.wait(2)
    weigh_again(world.doing(), lot=fresh(firsts), weight_mg=1_900 * GRAM)
    dried = dry(
        replace(world.doing(), sure=True),
        draws=[Draw(fresh(firsts), KG)],
        dried_mg=110 * GRAM,
        temperature_milli_c=45_000,
        minutes_drying=600,
    ).lots[-1]
    throw_away(world.doing(reason="unsold"), lot=fresh(packs), quantity=3)
    if spent:
        mark_spent(world.doing(), lot=fresh(blocks))
    return Season(
        world=world,
        grown=grown,
        firsts=fresh(firsts),
        seconds=fresh(seconds),
        trim=fresh(trim),
        packs=fresh(packs),
        dried=fresh(dried),
        delivery=delivery,
        stall=stall,
    )


def _first_flush(world: World, blocks: Lot) -> tuple[Lot, Lot, Lot]:
    """8 kg of firsts, 1.5 kg of seconds, 0.5 kg of trim."""
    recorded = pick(
        replace(world.doing(), sure=True),
        given=[Draw(blocks, 0)],
        flush=1,
        firsts_mg=8 * KG,
        seconds_mg=1_500 * GRAM,
        trim_mg=500 * GRAM,
        shelf=world.fridge_shelf,
    )
    firsts, seconds, trim = recorded.lots[-3:]
    return firsts, seconds, trim


def _packed(world: World, firsts: Lot) -> Lot:
    """30 packs of 200 g from 6 kg."""
    world.received("punnet", 30)
    return pack(
        world.doing(), product=world.product, packs=30, draws=[Draw(fresh(firsts), 6 * KG)]
    ).lots[-1]


def _stall_day(world: World, packs: Lot) -> Recorded:
    """Took 10, brought back 4: sold 6 at 5.00."""
    loaded = load_stall(world.doing(), place=world.stall, day=MARKET_DAY, lines=[Draw(packs, 10)])
    return settle_stall(
        world.doing(),
        stall_day=StallDay.objects.get(entry=loaded.entry),
        brought_back={packs.pk: 4},
        prices={},
    )


def _returned(world: World, delivery: Recorded) -> None:
    """The kitchen gives 2 packs back."""
    line = delivery.entry.sale.lines.get(line__lot__card__stage=9)
    take_back(world.doing(), sale_line=line, quantity=2)
