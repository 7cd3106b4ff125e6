"""Random histories with recalls in them, against a graph built from entries and lines alone.

Blocks of two lots are picked over several days, split, dried in mixed grades, packed, sold, given
away, loaded, brought back, told late, corrected and undone, in any order; recalls are opened on
whatever is there, and lots are let go of them again. After each step all recalls are right, and at
the end so is the reach of any few lots.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from django.db import transaction

from farm.actions.common import Doing, Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity, undo_with_dependants
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.sharing_out import ItemDay, share_out
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import count_lot, dry, throw_away
from farm.actions.tracing.holding import release
from farm.actions.tracing.recalling import Told, add_call, take_out
from farm.models import Customer, Given, Recall, SaleLine, Stage, StallDay
from farm.queries.tracing.recalls import recalls_kept, state_of
from ledger.errors import Refused
from ledger.models import Entry, Line, Lot, Role
from tests.farm.recall_cases import now, recalled
from tests.farm.world import (
    GRAM,
    UNIT,
    World,
    assert_book_is_sound,
    fresh,
    fruiting,
    small_farm,
)
from tests.graph import Graph
from tests.recalled import assert_reach_is_right, assert_recalls_are_right
from tests.repeated import seeds

pytestmark = pytest.mark.django_db

STEPS = 45


class Play:
    """One farm and its dice; each method is something that may happen, or is refused."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self.world: World = small_farm()
        self.blocks = [fruiting(self.world, 12), fruiting(self.world, 12)]
        self.world.received("punnet", 500)
        self.customers = [
            Customer.objects.create(name=name, place=self.world.kitchens)
            for name in ("Bell", "Cook")
        ]
        self.world.wait(8)

    def steps(self) -> list[Callable[[], object]]:
        often = [self.picks, self.packs, self.dries, self.sells, self.gives]
        return [
            *often,
            *often,
            self.loads,
            self.settles,
            self.comes_back,
            self.is_found,
            self.splits,
            self.bins,
            self.corrects,
            self.undoes,
            self.recalls,
            self.lets_go,
            self.takes_out,
            self.calls,
        ]

    def doing(self) -> Doing:
        """Now, or told late: as of some hours or days before."""
        self.world.now += timedelta(hours=self.chance.choice((1, 5, 20)))
        doing = self.world.doing(sure=True, reason=self.chance.choice(("", "told late")))
        if self.chance.random() < 0.4:
            back = timedelta(hours=self.chance.choice((1, 10, 60, 200)))
            doing = replace(doing, happened_at=doing.happened_at - back)
        return doing

    def some(self, *stages: Stage) -> Lot:
        lots = list(Lot.objects.filter(card__stage__in=stages).order_by("pk"))
        there = [lot for lot in lots if lot.quantity] or lots
        return fresh(self.chance.choice(there))

    def part(self, lot: Lot, most: int) -> int:
        return max(1, min(lot.quantity, self.chance.randint(1, most)))

    # --- what may happen --------------------------------------------------------------------

    def picks(self) -> None:
        blocks = self.chance.sample(
            list(Lot.objects.filter(card__stage=Stage.BLOCKS, quantity__gt=0)),
            self.chance.choice((1, 1, 2)),
        )
        pick(
            self.doing(),
            given=[Draw(fresh(lot), 0) for lot in blocks],
            flush=1,
            firsts_mg=self.chance.randint(400, 1500) * GRAM,
            seconds_mg=self.chance.choice((0, 400)) * GRAM,
        )

    def packs(self) -> None:
        lots = {lot.pk: lot for lot in (self.some(Stage.CROP), self.some(Stage.CROP))}
        draws = [Draw(lot, min(lot.quantity, 400 * GRAM)) for lot in lots.values()]
        count = sum(draw.quantity for draw in draws) // (200 * GRAM)
        pack(self.doing(), product=self.world.product, packs=count, draws=draws)

    def dries(self) -> None:
        lots = {lot.pk: lot for lot in (self.some(Stage.CROP), self.some(Stage.CROP, Stage.PACKS))}
        draws = [
            Draw(lot, self.part(lot, 3 if lot.unit_mass_mg else 500 * GRAM))
            for lot in lots.values()
        ]
        mass = sum(d.quantity * (d.lot.unit_mass_mg or 1) for d in draws)
        dry(
            self.doing(),
            draws=draws,
            dried_mg=max(1, mass // 9),
            temperature_milli_c=45_000,
            minutes_drying=600,
        )

    def sells(self) -> None:
        lot = self.some(Stage.PACKS, Stage.CROP, Stage.DRIED)
        to = self.chance.choice([None, *self.customers])
        amount = self.part(lot, 3 if lot.unit_mass_mg else 300 * GRAM)
        sell(
            self.doing(),
            place=self.world.kitchens,
            customer=to,
            lines=[SoldLine(lot, amount, UNIT)],
            count_up=self.chance.random() < 0.1,
        )

    def gives(self) -> None:
        lot = self.some(Stage.PACKS, Stage.CROP)
        amount = self.part(lot, 2 if lot.unit_mass_mg else 100 * GRAM)
        give_away(self.doing(), why=self.chance.choice(Given.values), draws=[Draw(lot, amount)])

    def loads(self) -> None:
        lots = {lot.pk: lot for lot in (self.some(Stage.PACKS), self.some(Stage.PACKS))}
        doing = self.doing()
        load_stall(
            doing,
            place=self.world.stall,
            day=doing.day,
            lines=[Draw(lot, self.part(lot, 4)) for lot in lots.values()],
        )

    def settles(self) -> None:
        gone = Entry.objects.filter(takes_back=True).values("amends")
        days = StallDay.objects.exclude(entry__in=gone).exclude(sales__isnull=False)
        day = self.chance.choice(list(days))
        loaded = list(day.lines.select_related("lot__item", "lot__card", "lot__made_by"))
        whole = sum(line.quantity for line in loaded)
        given = self.chance.choice((0, 0, 1))
        back = self.chance.randint(0, whole - given)
        counted = share_out(
            loaded,
            {loaded[0].lot.item_id: ItemDay(back, {Given.SAMPLE.value: given} if given else {})},
        )
        settle_stall(
            self.doing(),
            stall_day=day,
            brought_back=counted.back,
            prices={},
            besides=Besides.of(counted),
        )

    def comes_back(self) -> None:
        line = self.chance.choice(list(SaleLine.objects.filter(line__role=Role.SOLD)))
        take_back(self.doing(), sale_line=line, quantity=1)

    def is_found(self) -> None:
        lot = self.some(Stage.PACKS)
        count_lot(self.doing(), lot=lot, difference=self.chance.choice((1, 2, -1)))

    def splits(self) -> None:
        lot = self.some(Stage.BLOCKS)
        check(
            self.doing(),
            lot=lot,
            colonised_percent=90,
            lost=self.chance.choice((0, 1)),
            passed=self.chance.choice((2, 4)),
        )

    def bins(self) -> None:
        lot = self.some(Stage.PACKS, Stage.CROP, Stage.DRIED)
        throw_away(
            replace(self.doing(), reason="off"),
            lot=lot,
            quantity=self.chance.choice((lot.quantity, self.part(lot, 3))),
        )

    def corrects(self) -> None:
        lines = Line.objects.filter(role__in=(Role.USED, Role.SOLD), entry__amends=None)
        line = self.chance.choice(list(lines.exclude(quantity=0)))
        right = max(0, -line.quantity + self.chance.choice((-1, 1, 2)))
        correct_quantity(
            replace(self.doing(), reason="misread"),
            line.entry,
            lot=line.lot,
            role=line.role,
            right_quantity=right,
        )

    def undoes(self) -> None:
        entry = self.chance.choice(list(Entry.objects.filter(amends=None).order_by("-seq")[:6]))
        undo_with_dependants(self.doing(), entry)

    def recalls(self) -> None:
        if Recall.objects.count() < 3:
            lot = self.some(Stage.BLOCKS, Stage.CROP, Stage.PACKS, Stage.DRIED, Stage.SPAWN)
            recalled(self.world, lot)

    def lets_go(self) -> None:
        held = list(Lot.objects.filter(held=True))
        release(replace(self.doing(), reason="sound"), [self.chance.choice(held)])

    def takes_out(self) -> None:
        recall = self.chance.choice(list(recalls_kept()))
        lots = [row.lot for row in recall.lots.filter(left=False)]
        take_out(replace(self.doing(), reason="sound"), recall, [self.chance.choice(lots)])

    def calls(self) -> None:
        recall = self.chance.choice(list(recalls_kept()))
        everybody: list[Told] = [*self.customers, self.world.stall, *Given.values]
        whom = self.chance.choice(everybody)
        add_call(now(self.world, "said"), recall, whom, reached=True, recovered_mg=0)

    def step(self) -> None:
        what = self.chance.choice(self.steps())
        # Nothing to choose from, or the book refuses: then nothing happened.
        with suppress(Refused, IndexError, ValueError), transaction.atomic():
            what()


@pytest.mark.parametrize("seed", seeds(4))
def test_recalls_and_reaches_are_right_whatever_happens(seed: int) -> None:
    play = Play(seed)
    for at in range(STEPS):
        if at == STEPS // 3:
            play.recalls()
        play.step()
        if Recall.objects.exists():
            assert_recalls_are_right(Graph())
    graph = Graph()
    for _ in range(12):
        keys = sorted(graph.lots)
        assert_reach_is_right(graph, play.chance.sample(keys, play.chance.randint(1, 3)))
    assert_book_is_sound()
    for recall in recalls_kept():
        nothing_leaves(play, recall)


def nothing_leaves(play: Play, recall: Recall) -> None:
    """Nothing that is listed is sold or given away now, by anybody, for any reason."""
    for listed in state_of(recall).now.still_here:
        lot = Lot.objects.get(code=listed.code)
        with pytest.raises(Refused):
            sell(
                play.world.doing(sure=True, reason="please"),
                place=play.world.kitchens,
                lines=[SoldLine(lot, 1, UNIT)],
            )
        with pytest.raises(Refused):
            give_away(
                play.world.doing(sure=True, reason="please"), why=Given.GIFT, draws=[Draw(lot, 1)]
            )
