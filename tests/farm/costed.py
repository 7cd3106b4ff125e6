"""A farm where nothing costs but what a test says, and blocks that cost a stated sum."""

from fractions import Fraction

from farm.actions.common import Draw
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks
from farm.actions.growing.cultures import buy_culture
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.models import Rate, RateOf, StandardTime
from ledger.models import Flow, Lot, Role
from tests.copied import copied
from tests.farm.world import GRAM, UNIT, World, fresh, run, small_farm


@copied
def costless_farm() -> World:
    """A farm where nothing costs but what a test says: an own hour is 60, so a minute is 1."""
    world = small_farm()
    world.steriliser.run_wh = 0
    world.steriliser.save()
    StandardTime.objects.update(minutes=0, unit_seconds=0)
    Rate.objects.filter(of=RateOf.BLOCK_DAY).update(rate_money=0)
    Rate.objects.filter(of=RateOf.OWN_HOUR).update(rate_money=60 * UNIT)
    return world


@copied
def blocks_at(world: World, count: int, cost: int | Fraction, *, planned_ppm: int = 0) -> Lot:
    """Blocks whose filled bags cost so much, and nothing else."""
    world.strain.planned_loss_ppm = planned_ppm
    world.strain.save()
    sawdust_mg = count * 975 * GRAM
    draws = [
        Draw(world.received("sawdust", sawdust_mg, int(cost * UNIT), sure=True), sawdust_mg),
        Draw(world.received("block bag", count, 0), count),
    ]
    bags = fill_blocks(world.doing(), recipe=world.block_recipe, count=count, draws=draws).lots[-1]
    run(world, fresh(bags))
    spawn = free_spawn(world)
    made = inoculate_blocks(
        world.doing(sure=True), bags=fresh(bags), count=count, spawn=[Draw(spawn, spawn.quantity)]
    )
    return fresh(made.lots[-1])


@copied
def free_spawn(world: World) -> Lot:
    """Ten kilos and more, so that a block of 10,000 has its gram."""
    bags = 8
    culture = buy_culture(world.doing(), strain=world.strain, portions=bags, paid_money=0).lots[0]
    draws = [
        Draw(world.received("rye", bags * 885 * GRAM, 0), bags * 885 * GRAM),
        Draw(world.received("grain bag", bags, 0), bags),
    ]
    grain = prepare_grain(world.doing(), recipe=world.grain_recipe, bags=bags, draws=draws).lots[-1]
    run(world, fresh(grain))
    made = inoculate_grain(
        world.doing(), grain=fresh(grain), bags=bags, source=fresh(culture), amount=bags
    )
    return fresh(made.lots[-1])


def whole(lot: Lot) -> int:
    return sum(fresh(lot).cost)


def lost(lot: Lot) -> int:
    return -sum(sum(flow.cost) for flow in Flow.objects.filter(lot=lot, role=Role.LOST))
