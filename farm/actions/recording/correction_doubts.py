"""What is doubtful in a corrected number: the questions it would have met when first recorded.

Each looks at the entry as it would stand, beside its lots as they were before it, and asks only
about what the correction changes.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from farm import habits
from farm.actions.common import Doing, Draw, amount_words
from farm.actions.doubts import price_doubt, sale_price_doubt, spawn_doubt
from farm.actions.growing.harvesting import kept_doubt
from farm.actions.growing.pick_doubts import Picked, weight_doubts
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import PlausibilityQuestion
from farm.actions.store.count_doubts import CheckCount, filling_doubts, loss_doubt
from farm.actions.store.packing import far_over_doubt
from farm.actions.store.storing import (
    SCALE_MG,
    UNEXPLAINED,
    Before,
    dried_doubt,
    mass_of,
    missing_doubt,
)
from farm.kinds import growing
from farm.kinds.growing import (
    CHECK,
    FILL_BLOCKS,
    INOCULATE_BLOCKS,
    KEEP_SPENT_BLOCKS,
    PICK,
    PREPARE_GRAIN,
    RECEIVE_SUPPLIES,
    Checked,
)
from farm.kinds.selling import SELL, SETTLE_STALL
from farm.kinds.store import DRY, PACK, WEIGH_AGAIN, Drying, Weighing
from farm.models import LotCard, Stage, Supply
from farm.moisture import Portion
from farm.queries.entries import gave_in, on_hand_before, standing
from farm.queries.selling.prices import listed_price
from farm.queries.store.later_weights import stated_later
from farm.units import MG_PER_UNIT
from ledger.models import Dimension, Entry, Lot, Role

Doubts = Iterable[PlausibilityQuestion | None]
TAKES = (Role.USED, Role.SOLD, Role.LOST)
LEAVES = (*TAKES, Role.SHRUNK)


@dataclass(frozen=True)
class Correction:
    """The right quantity of one line, without sign; ``money`` where that is stated as well."""

    doing: Doing
    entry: Entry
    lot: Lot
    role: str
    quantity: int
    money: int | None = None

    @cached_property
    def was(self) -> int:
        """What the line says so far."""
        lines = [one for one in standing(self.entry) if self.is_of(one.lot, one.role)]
        return sum(abs(one.now) for one in lines)

    def is_of(self, lot: Lot, role: str) -> bool:
        return (lot, role) == (self.lot, self.role)

    def draws(self, role: str, *stages: Stage) -> list[Draw]:
        """What went in or came of it, corrected; each lot with what there was of it before."""
        there = on_hand_before(self.entry)
        lines = [one for one in standing(self.entry) if one.role == role]
        cards = LotCard.objects.select_related("lot__item", "strain__species", "species", "product")
        found = cards.in_bulk([one.lot.pk for one in lines], field_name="lot_id")
        drawn = []
        for one in lines:
            lot = found[one.lot.pk].lot
            lot.quantity = there.get(lot.pk, 0)
            if not stages or lot.card.stage in stages:
                right = self.quantity if self.is_of(lot, role) else abs(one.now)
                drawn.append(Draw(lot, right))
        return drawn


def correction_doubts(correction: Correction) -> Iterator[PlausibilityQuestion | None]:
    """Ask what recording the right number would have asked."""
    yield from DOUBTS.get(correction.entry.kind, _no_doubts)(correction)
    more = correction.quantity - correction.was
    if correction.role in TAKES and more > 0 and correction.was:
        yield set_aside_doubt([Draw(correction.lot, more)])
    yield _against_the_scale(correction, -more if correction.role in LEAVES else more)


def _against_the_scale(to: Correction, change: int) -> PlausibilityQuestion | None:
    """Ask where a correction leads away from what was weighed or counted of the lot later on.

    8 kg picked, weighed 7.5 kg two days later, and corrected to 4: the book would say 3.5 kg for
    the day on which the scale said 7.5.
    """
    if to.role == Role.USED and to.lot.pk in {lot.pk for lot in gave_in(to.entry)}:
        return None  # what blocks gave: they are counted, and none of them left
    slack = SCALE_MG if to.lot.item.dimension == Dimension.MASS else 0
    later = [one for one in stated_later(to.lot, to.entry) if one.is_worse_by(change, slack)]
    if not later:
        return None
    first, dimension = later[0], to.lot.item.dimension
    found, then = (amount_words(n, dimension) for n in (first.found, max(0, first.book + change)))
    verb = "weighed" if dimension == Dimension.MASS else "counted"
    more = f" (and {len(later) - 1} more times since)" if later[1:] else ""
    return PlausibilityQuestion(
        f"Lot {to.lot.code}: {found} were {verb} on {habits.day(first.day)} ({first.where}){more}, "
        f"and with this correction the book says {then} for that moment. Is the correction right, "
        f"and what was {verb} wrong? Then correct that as well.",
        [to.lot.code],
    )


def total(draws: Iterable[Draw]) -> int:
    return sum(draw.quantity for draw in draws)


# --- growing ---------------------------------------------------------------------------------


def _no_doubts(_: Correction) -> Doubts:
    return ()


def _filling(to: Correction) -> Doubts:
    """Hold the bags against all that was drawn for them, or one ingredient against the bags."""
    made = to.draws(Role.MADE)
    drawn = to.draws(Role.USED)
    if to.role == Role.USED:
        drawn = [draw for draw in drawn if draw.lot.item_id == to.lot.item_id]
    recipe = made[0].lot.card.recipe
    assert recipe, "what was filled has a recipe"
    return filling_doubts(to.doing.by, recipe, drawn, count=total(made))


def _inoculation(to: Correction) -> Doubts:
    (bags,) = to.draws(Role.USED, Stage.BAGS)
    count = to.quantity if to.role == Role.MADE else bags.quantity
    spawn_mg = total(to.draws(Role.USED, Stage.SPAWN))
    if count:
        yield spawn_doubt(to.doing.by, bags.lot, spawn_mg=spawn_mg, count=count)


def _check(to: Correction) -> Doubts:
    """Of what was looked at, so many were lost; spawn is weighed, so its bags by their share."""
    if to.role == Role.LOST and to.was:
        said = Checked.read(to.entry.particulars)
        lost = said.lost * to.quantity // to.was
        yield loss_doubt(CheckCount(to.lot.code, said.checked, lost, None), said.checked)


def _pick(to: Correction) -> Doubts:
    """Hold all that was picked against the blocks there were; what one lot gave changes no sum."""
    blocks = [draw.lot.card for draw in to.draws(Role.USED)]
    if to.role == Role.MADE and blocks:
        total_mg, species = total(to.draws(Role.MADE)), blocks[0].species
        assert species, "blocks have a species"
        flush, entry = growing.Picked.read(to.entry.particulars).flush, to.entry.pk
        yield from weight_doubts(Picked(to.doing, species, blocks, flush, total_mg, entry))


def _keep_spent(to: Correction) -> Doubts:
    if to.role == Role.MADE:
        yield from (kept_doubt(draw.lot, to.quantity) for draw in to.draws(Role.USED))


# --- the crop --------------------------------------------------------------------------------


def _weighing(to: Correction) -> Doubts:
    """Ask where the rest may be, unless the weighing said it."""
    said = Weighing.read(to.entry.particulars)
    before = Before(said.book_mg, said.days, said.band_mg)
    gone_mg = total([*to.draws(Role.SHRUNK), *to.draws(Role.LOST)])
    if gone_mg - before.band_mg > SCALE_MG and to.entry.reason in ("", UNEXPLAINED):
        weight_mg = before.book_mg - gone_mg
        yield missing_doubt(to.doing, to.lot, before=before, weight_mg=weight_mg)


def _drying(to: Correction) -> Doubts:
    draws = to.draws(Role.USED)
    (dried,) = to.draws(Role.MADE)
    fresh = Portion(sum(map(mass_of, draws)), Drying.read(to.entry.particulars).fresh_moisture_ppm)
    yield dried_doubt(to.doing, draws, fresh, dried_mg=dried.quantity)


def _packing(to: Correction) -> Doubts:
    (packs,) = to.draws(Role.MADE)
    product = packs.lot.card.product
    assert product, "packs have a product"
    draws = to.draws(Role.USED, Stage.CROP, Stage.DRIED)
    yield far_over_doubt(product, packs.quantity, draws)


# --- what has a price ------------------------------------------------------------------------


def _delivery(to: Correction) -> Doubts:
    (line,) = [one for one in standing(to.entry) if to.is_of(one.lot, one.role)]
    supply = Supply.objects.select_related("item").get(item=to.lot.item_id)
    money = line.money_now if to.money is None else to.money
    yield price_doubt(to.doing.by, supply, quantity=to.quantity, money=money, before=to.entry)


def _sale(to: Correction) -> Doubts:
    """Hold what was asked for the whole line against the price that was in force."""
    sale = to.entry.sale
    listed = listed_price(
        sale.place, to.entry.happened_on, customer=sale.customer, what=to.lot.card.goods
    )
    if to.role == Role.SOLD and to.money is not None and to.quantity and listed:
        is_counted = to.lot.item.dimension == Dimension.COUNT
        per = 1 if is_counted else MG_PER_UNIT[listed.weight_unit]
        yield sale_price_doubt(to.lot, to.money * per // to.quantity, listed=listed)


DOUBTS: Mapping[str, Callable[[Correction], Doubts]] = {
    PREPARE_GRAIN: _filling,
    FILL_BLOCKS: _filling,
    INOCULATE_BLOCKS: _inoculation,
    CHECK: _check,
    PICK: _pick,
    KEEP_SPENT_BLOCKS: _keep_spent,
    WEIGH_AGAIN: _weighing,
    DRY: _drying,
    PACK: _packing,
    RECEIVE_SUPPLIES: _delivery,
    SELL: _sale,
    SETTLE_STALL: _sale,
}
