"""Mishaps while growing and picking."""

from datetime import datetime, timedelta

from farm.actions.common import Draw
from farm.actions.growing.blocks import move_to_fruiting
from farm.actions.growing.checks import check
from farm.actions.growing.cultures import clone_culture
from farm.actions.growing.grain import inoculate_grain
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.recording.correcting import undo
from farm.actions.starting.starting import add_strain
from farm.beliefs import planned
from farm.models import RateOf, Strain
from ledger.errors import Refused
from ledger.models import Charge, Edge, Lot
from tests.farm.costed import blocks_at, lost
from tests.farm.world import grow_spawn, prepared_grain, run
from tests.mishaps.must import (
    GRAM,
    KG,
    UNIT,
    Must,
    World,
    costs_come_to,
    fresh,
    rate,
    was,
    whole_cost,
)


def crate(world: World, *blocks: Lot, kg: float, flush: int = 1, minutes: int | None = None) -> Lot:
    """Pick firsts of some blocks, in no time unless stated; whatever is asked is so."""
    doing = world.doing(sure=True, minutes=minutes)
    given = [Draw(fresh(lot), 0) for lot in blocks]
    picked = pick(
        doing, given=given, flush=flush, firsts_mg=round(kg * 1000) * GRAM, shelf=world.fridge_shelf
    )
    return fresh(picked.lots[-1])


def flush_on_two_days(world: World) -> list[Must]:
    """8 / 28 of 200; 9 / 20 of 142.8572; 5 / 8 and 2 / 3 of the rest; spent: 200 / 24 a kilo."""
    blocks = blocks_at(world, 40, 200)
    crates = [crate(world, blocks, kg=8)]
    world.wait(1)
    crates.append(crate(world, blocks, kg=9))
    world.wait(11)
    crates += [crate(world, blocks, kg=5, flush=2), crate(world, blocks, kg=2, flush=2)]
    until_spent = [whole_cost(lot) for lot in crates]
    mark_spent(world.doing(), lot=fresh(blocks))
    return [
        was("crates until spent", until_spent, [57_1428, 64_2857, 49_1071, 19_6429]),
        costs_come_to("crates once spent", crates, [66_6666, 75_0000, 41_6667, 16_6667]),
    ]


def flush_on_four_days(world: World) -> list[Must]:
    """5 kg a day of 40 blocks: 5 / 28 of 200, then 5 / 23, 5 / 18, 5 / 13 of what is left."""
    blocks, crates = blocks_at(world, 40, 200), []
    for _ in range(4):
        crates.append(crate(world, blocks, kg=5))
        world.wait(1)
    return [
        costs_come_to("four crates of one flush", crates, [35_7142, 35_7143, 35_7143, 35_7143]),
        costs_come_to("left on the blocks", [blocks], [57_1429]),
    ]


def two_strains_in_one_pick(world: World) -> list[Must]:
    """5 of 5 + 2 kg still expected of the one; 3 of 3 + 2 + 2 of the other, both at 50."""
    one = blocks_at(world, 10, 50)
    grey, world.strain = world.strain, pearl_oyster()
    other = blocks_at(world, 10, 50)
    world.strain = grey
    doing = world.doing(sure=True)
    lot = pick(
        doing, given=[Draw(one, 5 * KG), Draw(other, 3 * KG)], flush=1, firsts_mg=8 * KG
    ).lots[-1]
    parts = dict(Edge.objects.filter(dst=lot).values_list("src", "part"))
    return [
        costs_come_to("the mixed crate", [lot], [35_7142 + 21_4285]),
        was("what each strain gave", parts, {one.pk: 5 * KG, other.pk: 3 * KG}),
    ]


def pearl_oyster() -> Strain:
    """A second strain of the species, planned as the first."""
    strain = Strain.objects.filter(name="Pearl").first() or add_strain(planned("Oyster"), "Pearl")
    strain.first_mg, strain.second_mg, strain.third_mg = 500 * GRAM, 200 * GRAM, 0
    strain.save()
    return strain


def batch_lost_to_mould(world: World) -> list[Must]:
    """Nothing is left: the planned 7 % of 40 frees two, and the rest carries all 210.80 out."""
    blocks = blocks_at(world, 40, 210, planned_ppm=70_000)
    check(world.doing(reason="green mould", sure=True), lot=blocks, colonised_percent=20, lost=40)
    return [
        Must("lost with the batch", lambda: lost(blocks), 210_0000),
        Must("left of it", lambda: (fresh(blocks).quantity, whole_cost(blocks)), (0, 0)),
    ]


def spent_without_a_pick(world: World) -> list[Must]:
    blocks = blocks_at(world, 10, 30)
    mark_spent(world.doing(), lot=blocks)
    return [Must("lost without a pick", lambda: lost(blocks), 30_0000)]


def clone_from_a_pick(world: World) -> list[Must]:
    """10 kg of 20 blocks are 10 / 14 of 100; 10 g of them a thousandth of that."""
    picked = crate(world, blocks_at(world, 20, 100), kg=10)
    culture = clone_culture(world.doing(), source=picked, piece_mg=10 * GRAM, portions=4).lots[-1]
    return [
        costs_come_to("the clone", [culture], [714]),
        costs_come_to("what stays of the pick", [picked], [71_3571]),
    ]


def blocks_in_two_rooms(world: World) -> list[Must]:
    """8 kg of 40; half goes to another room. Of each 71.4286: 4.5 / (10 - 4 + 4)."""
    blocks = blocks_at(world, 40, 200)
    first = crate(world, blocks, kg=8)
    part = check(world.doing(), lot=fresh(blocks), colonised_percent=100, passed=20).lots[1]
    move_to_fruiting(world.doing(), lot=fresh(part), shelf=world.fruiting_shelf)
    second, third = crate(world, blocks, kg=4.5), crate(world, part, kg=4.5)
    return [
        costs_come_to("crates of both rooms", [first, second, third], [57_1428, 32_1428, 32_1428]),
    ]


def grain_to_grain_three_times(world: World) -> list[Must]:
    """Spawn of a culture is generation 1; a bag that is broken up into others makes one more."""
    culture, _, spawn = grow_spawn(world, 2)
    born = [spawn]
    for _ in range(3):
        world.wait(14)
        grain = prepared_grain(world, 2)
        run(world, grain)
        made = inoculate_grain(
            world.doing(sure=True),
            grain=fresh(grain),
            bags=2,
            source=fresh(born[-1]),
            amount=100 * GRAM,
        )
        born.append(fresh(made.lots[-1]))
    last, behind = born[-1].pk, set[int]()
    reached = {last}
    while reached:
        reached = set(Edge.objects.filter(dst__in=reached).values_list("src", flat=True))
        behind |= reached
    return [
        was("generations", [lot.card.generation for lot in born], [1, 2, 3, 4]),
        was(
            "all of them and the culture stand behind the last",
            {culture.pk, *(lot.pk for lot in born[:-1])} <= behind,
            True,
        ),
    ]


def pick_typed_late(world: World) -> list[Must]:
    """Dated before “spent”, typed after it: refused by name, until what was too early is undone.

    8 kg, then 4 of the day before it: spent, 200 are shared by weight, 16.6666 a kilo.
    """
    blocks = blocks_at(world, 40, 200)
    before, day = world.now, (world.now + timedelta(hours=1)).astimezone(world.farm.zone).date()
    world.wait(2)
    first = crate(world, blocks, kg=8)
    late = crate_at(world, before, blocks, kg=1)
    spent = mark_spent(world.doing(), lot=fresh(blocks))
    try:
        crate_at(world, before, blocks, kg=3)
        refusal = ""
    except Refused as refused:
        refusal = str(refused)
    undo(world.doing(reason="picked after all"), spent.entry)
    last = crate_at(world, before, blocks, kg=3)
    mark_spent(world.doing(), lot=fresh(blocks))
    return [
        was("the lot that refused is named", blocks.code in refusal, True),
        costs_come_to("all crates once spent", [first, late, last], [133_3333, 16_6667, 50_0000]),
        was("it counts on its own day", late.made_by.happened_on, day),
    ]


def crate_at(
    world: World, at: datetime, blocks: Lot, *, kg: float, minutes: int | None = None
) -> Lot:
    """Pick at an earlier time than the world's."""
    now, world.now = world.now, at
    try:
        return crate(world, blocks, kg=kg, minutes=minutes)
    finally:
        world.now = now


def rate_that_changes_in_mid_month(world: World) -> list[Must]:
    """Six minutes at 60.00 an hour are 6.00; from the 16th at 90.00 they are 9.00."""
    blocks = blocks_at(world, 40, 200)
    to_day(world, 15)
    first = crate(world, blocks, kg=4, minutes=6)
    world.wait(1)
    rate(world, RateOf.OWN_HOUR, 90 * UNIT)
    second = crate(world, blocks, kg=4, minutes=6)
    # Typed late, of the day before: that day's rate.
    third = crate_at(world, first.made_by.happened_at, blocks, kg=4, minutes=6)
    world.wait(1)
    rate(world, RateOf.OWN_HOUR, 60 * UNIT)
    own = [
        Charge.objects.get(entry=lot.made_by, amount__gt=0).amount for lot in (first, second, third)
    ]
    return [was("labour by the rate of its own day", own, [6_0000, 9_0000, 6_0000])]


def to_day(world: World, day: int) -> None:
    """Wait for the morning of that day of a month."""
    while (world.today.day, world.now.astimezone(world.farm.zone).hour) != (day, 8):
        world.now += timedelta(hours=1)
