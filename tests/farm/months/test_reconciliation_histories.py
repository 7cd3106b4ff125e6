"""Where the crop went, after random histories: each step is what the bare lines say."""

from collections import Counter, defaultdict
from collections.abc import Callable
from contextlib import suppress
from datetime import date, timedelta
from random import Random

import pytest

from farm.actions.common import Draw
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import take_back
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry, throw_away, weigh_again
from farm.models import Given, SaleLine, Stage
from farm.queries.months.lot_reconciliation import reconcile_lot
from farm.queries.months.reconciliation import Reconciliation, Step, reconcile
from farm.reports.months.reconciliation_rows import told
from ledger.errors import Refused
from ledger.models import Dimension, Entry, Line, Lot
from tests.farm.closed import blocks, flush, sold
from tests.farm.world import GRAM, World, assert_book_is_sound
from tests.repeated import seeds

pytestmark = pytest.mark.django_db

FIRST, LAST = date(2026, 9, 1), date(2027, 6, 30)


def amounts(found: Reconciliation) -> dict[Step, int]:
    assert found.difference_mg == 0
    return found.amounts


def some(chance: Random, *stages: Stage) -> Lot:
    lots = Lot.objects.filter(quantity__gt=0, card__stage__in=stages).order_by("pk")
    return chance.choice(list(lots))


def up_to(most: int, lot: Lot, chance: Random) -> int:
    """So many pieces, or a weight as a scale says it: whole grams."""
    if lot.item.dimension == Dimension.COUNT:
        return chance.randint(1, most)
    return chance.randint(1, max(most // GRAM, 1)) * GRAM


def pick_some(world: World, chance: Random) -> None:
    flush(world, blocks(world, 3), 1, chance.randint(1, 2_000) * GRAM)


def pack_some(world: World, chance: Random) -> None:
    lots = {some(chance, Stage.CROP).pk for _ in range(2)}
    draws = [Draw(lot, up_to(lot.quantity, lot, chance)) for lot in map(fresh_pk, lots)]
    packs = sum(draw.quantity for draw in draws) // (200 * GRAM)
    world.received("punnet", packs)
    pack(world.doing(sure=True), product=world.product, packs=packs, draws=draws)


def fresh_pk(pk: int) -> Lot:
    return Lot.objects.get(pk=pk)


def dry_some(world: World, chance: Random) -> None:
    lot = some(chance, Stage.CROP)
    part = up_to(lot.quantity, lot, chance)
    dry(
        world.doing(sure=True),
        draws=[Draw(lot, part)],
        dried_mg=part // 9 // GRAM * GRAM,
        temperature_milli_c=45_000,
        minutes_drying=600,
    )


def sell_some(world: World, chance: Random) -> None:
    lot = some(chance, Stage.CROP, Stage.DRIED, Stage.PACKS)
    sold(world, lot, up_to(lot.quantity, lot, chance))


def bin_some(world: World, chance: Random) -> None:
    lot = some(chance, Stage.CROP, Stage.DRIED, Stage.PACKS)
    throw_away(world.doing(reason="soft"), lot=lot, quantity=up_to(lot.quantity, lot, chance))


def give_some(world: World, chance: Random) -> None:
    lot = some(chance, Stage.CROP, Stage.DRIED, Stage.PACKS)
    draws = [Draw(lot, up_to(lot.quantity, lot, chance))]
    give_away(world.doing(sure=True), why=chance.choice(Given.values), draws=draws)


def weigh_some(world: World, chance: Random) -> None:
    lot = some(chance, Stage.CROP)
    weight_mg = lot.quantity // 2 // GRAM * GRAM + up_to(lot.quantity // 2, lot, chance)
    weigh_again(world.doing(sure=True), lot=lot, weight_mg=weight_mg)


def bring_back(world: World, chance: Random) -> None:
    line = chance.choice(list(SaleLine.objects.filter(line__role="sold").order_by("pk")))
    most = abs(line.line.quantity)
    take_back(world.doing(), sale_line=line, quantity=up_to(most, line.line.lot, chance))


def correct(world: World, chance: Random) -> None:
    line = chance.choice(list(Line.objects.filter(role__in=("sold", "lost")).order_by("pk")))
    right = up_to(2 * abs(line.quantity) + 1, line.lot, chance)
    if line.lot.item.dimension == Dimension.MASS:  # a part of a loss keeps its part of a gram
        right += abs(line.quantity) % GRAM
    correct_quantity(
        world.doing(sure=True), line.entry, lot=line.lot, role=line.role, right_quantity=right
    )


def take_one_back(world: World, chance: Random) -> None:
    undo(world.doing(), chance.choice(list(Entry.objects.filter(amends=None).order_by("seq"))))


STEPS: tuple[Callable[[World, Random], None], ...] = (
    pick_some, pick_some, pack_some, pack_some, dry_some, sell_some, sell_some, bin_some,
    give_some, give_some, weigh_some, bring_back, correct, take_one_back,
)  # fmt: skip


def play(world: World, chance: Random) -> None:
    for _ in range(40):
        world.now += timedelta(hours=chance.randint(1, 40))
        with suppress(Refused, IndexError):
            chance.choice(STEPS)(world, chance)


def plain_mg(line: Line) -> int:
    lot = line.lot
    weighed = lot.item.dimension == Dimension.MASS
    return line.quantity if weighed else line.quantity * (lot.unit_mass_mg or 0)


def from_the_lines(first: date, last: date) -> dict[str, int]:
    """Read the bare lines one by one, by the day and kind of what they belong to.

    What is written down is whole grams, but for the two parts of what a scale found missing.
    """
    sums: dict[str, int] = defaultdict(int)
    missing: dict[tuple[int, date], list[tuple[str, int]]] = defaultdict(list)
    goods = Line.objects.filter(lot__card__stage__in=(Stage.CROP, Stage.PACKS))
    for line in goods.select_related("entry__amends", "lot__item"):
        root = line.entry.amends or line.entry
        if root.happened_on < first:
            sums["start"] += plain_mg(line)
        if root.happened_on <= last:
            sums["end"] += plain_mg(line)
        if first <= root.happened_on <= last:
            word = root.reason.partition(":")[0] if line.role == "lost" else ""
            name = f"{root.kind} {line.role} {word}".strip()
            if root.kind == "weigh again":
                missing[line.lot_id, root.happened_on].append((name, -plain_mg(line)))
            else:
                sums[name] += plain_mg(line)
    for parts in missing.values():
        for name, grams in handed_out_by_hand(parts):
            sums[name] -= grams * GRAM
    return sums


def handed_out_by_hand(parts: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """What a lot lost in a day is whole grams: those missing go to the largest rests."""
    whole, rest = divmod(sum(mg for _, mg in parts), GRAM)
    assert rest == 0
    grams = [mg // GRAM for _, mg in parts]
    by_rest = sorted(range(len(parts)), key=lambda at: (-(parts[at][1] % GRAM), at))
    for at in by_rest[: whole - sum(grams)]:
        grams[at] += 1
    return [(name, one) for (name, _), one in zip(parts, grams, strict=True)]


@pytest.mark.parametrize("seed", seeds(12))
def test_it_adds_up_to_the_bare_lines_after_any_history(world: World, seed: int) -> None:
    chance = Random(seed)
    play(world, chance)
    first = world.now.date() - timedelta(days=chance.randint(1, 30))
    last = world.now.date() - timedelta(days=chance.randint(0, 3))
    first = min(first, last)
    found, bare = amounts(reconcile(first, last)), from_the_lines(first, last)

    assert {step: found.get(step, 0) for step in Step} == {
        **dict.fromkeys(Step, 0),
        Step.START: bare["start"],
        Step.PICKED: bare["pick made"],
        Step.SOLD: -bare["sell sold"] - bare["take back back"],
        Step.SAMPLES: -bare["give away lost sample"],
        Step.GIFTS: -bare["give away lost gift"],
        Step.OWN: -bare["give away lost own use"],
        Step.OVER: -bare["pack used"] - bare["pack made"],
        Step.DRIED: -bare["dry used"],
        Step.THROWN: -bare["throw away lost soft"],
        Step.WATER: -bare["weigh again shrunk"],
        Step.UNEXPLAINED: -bare["weigh again lost unexplained"],
        Step.END: bare["end"],
    }
    assert_book_is_sound()


def test_the_histories_take_every_step(world: World) -> None:
    seen: set[Step] = set()
    for seed in range(6):
        play(world, Random(seed))
        seen |= amounts(reconcile(FIRST, LAST)).keys()

    assert seen >= {
        Step.PICKED,
        Step.SOLD,
        Step.SAMPLES,
        Step.GIFTS,
        Step.OWN,
        Step.OVER,
        Step.DRIED,
        Step.THROWN,
        Step.WATER,
        Step.UNEXPLAINED,
        Step.END,
    }


@pytest.mark.parametrize("seed", seeds(4))
def test_every_lot_adds_to_zero(world: World, seed: int) -> None:
    """Packs that mix lots are shared without a milligram lost."""
    play(world, Random(seed))
    lots = Lot.objects.filter(card__stage__in=(Stage.CROP, Stage.DRIED, Stage.PACKS))
    found = [reconcile_lot(lot) for lot in lots.select_related("item", "card__product")]

    assert len(found) > 2
    assert {one.difference_mg for one in found} == {0}
    assert {told(one)[-1].left for one in found if one.moves} == {0}


@pytest.mark.parametrize("seed", seeds(4))
def test_the_lots_of_a_season_come_to_what_its_days_say_step_by_step(
    world: World, seed: int
) -> None:
    """To the gram, though packs mix lots and each takes its part of every one of their steps."""
    play(world, Random(seed))
    picked = Lot.objects.filter(card__stage=Stage.CROP).select_related("item", "card__product")
    grams: Counter[Step] = Counter()
    for lot in picked:
        for step, mg in reconcile_lot(lot).amounts.items():
            assert mg % 1000 == 0
            grams[step] += mg

    days = reconcile(FIRST, LAST).amounts
    assert {step: mg for step, mg in grams.items() if mg} == {
        step: mg for step, mg in days.items() if mg
    }
