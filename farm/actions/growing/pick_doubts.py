"""What is doubtful in a pick: its day, its flush, and its weight beside all that its blocks gave.

As in `doubts.py`, the factors are own rules.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from farm import habits
from farm.actions.common import Doing, both, last_day
from farm.actions.doubts import SLIPPED, in_other_unit, is_half, is_near, is_twice, writes_pounds
from farm.actions.questions import PlausibilityQuestion
from farm.kinds.growing import INOCULATE_BLOCKS, MOVE_TO_FRUITING
from farm.models import LotCard, Species
from farm.moisture import PPM
from farm.queries.growing.block_picks import BlockPick, Picks, flush_on, gap_of, picks_of
from farm.queries.growing.block_picks import is_near as is_near_day
from farm.queries.growing.usual_values import Usual, usual_weight_mg
from farm.queries.months.yields import dry_mg_of, efficiency_ppm
from farm.units import show_count
from ledger.errors import Malformed
from ledger.models import Lot

# Against what was planned, which is a belief.
TIMES_PLANNED = 3
# Fresh weight of all flushes over dry substrate. Own rule: trials report 54 % to 141 %, and one
# record of 179 % (see the yields in the reference on the trade).
MOST_EFFICIENT_PPM = 2 * PPM


@dataclass(frozen=True)
class Picked:
    """A pick as it is typed, or as it would stand corrected: then ``besides`` is its entry."""

    doing: Doing
    species: Species
    cards: Sequence[LotCard]
    flush: int
    total_mg: int
    besides: int = 0

    @cached_property
    def before(self) -> Mapping[int, Picks]:
        """What else was picked of each lot, by pk."""
        return picks_of([card.lot for card in self.cards], besides=self.besides)

    @property
    def named(self) -> str:
        return ", ".join(self.codes)

    @property
    def codes(self) -> list[str]:
        return [card.lot.code for card in self.cards]

    @property
    def blocks(self) -> int:
        return sum(card.lot.quantity for card in self.cards)

    def gave_mg(self, flush: int | None = None) -> int:
        """What the blocks that are there gave besides, in one flush or in all; rounded down."""
        return sum(
            int(one.a_block_mg * card.lot.quantity)
            for card in self.cards
            for one in self.before[card.lot_id]
            if flush in (None, one.flush)
        )


def pick_doubts(picked: Picked) -> Iterator[PlausibilityQuestion | None]:
    """Ask about all that is doubtful in a pick."""
    for card in picked.cards:
        yield day_doubt(picked.doing, card.lot)
        yield flush_doubt(picked, card.lot)
    yield from weight_doubts(picked)


# --- the day and the flush -------------------------------------------------------------------


def day_doubt(doing: Doing, lot: Lot) -> PlausibilityQuestion | None:
    """Ask about a pick before its blocks were inoculated or moved, or where they never were."""
    day, said = doing.day, f"Lot {lot.code} ({lot.quantity} blocks)"
    made = last_day(lot, [INOCULATE_BLOCKS])
    if made and day < made:
        words = (
            f"{said} was inoculated on {habits.day(made)}, after this pick of {habits.day(day)}. "
            "Is the day right, or were other blocks picked?"
        )
    elif (moved := last_day(lot, [MOVE_TO_FRUITING])) is None:
        words = f"{said} was never moved to fruiting. Was it picked where it stood?"
    elif day < moved:
        words = (
            f"{said} was moved to fruiting on {habits.day(moved)}, after this pick of "
            f"{habits.day(day)}. Is the day right, or was it picked where it stood?"
        )
    else:
        return None
    return PlausibilityQuestion(words, [lot.code])


def flush_doubt(picked: Picked, lot: Lot) -> PlausibilityQuestion | None:
    """Ask about a flush that the picks near that day speak against, and say which they speak for.

    Out of order, one left out, the next while the last is still being picked, or one that was
    over long ago.
    """
    day, flush, picks = picked.doing.day, picked.flush, picked.before[lot.pk]
    why = _why_not(day, flush, picks, gap_days=gap_of(lot))
    if not why:
        return None
    offered = flush_on(day, picks, gap_days=gap_of(lot))
    meant = f" Is it flush {offered}?" if offered != flush else ""
    return PlausibilityQuestion(
        f"Lot {lot.code}: flush {flush} picked on {habits.day(day)}, {why}.{meant}", [lot.code]
    )


def _why_not(day: date, flush: int, picks: Picks, *, gap_days: int) -> str:
    before = [one for one in picks if one.day <= day]
    higher = [one for one in before if one.flush > flush]
    lower = [one for one in picks if one.day > day and one.flush < flush]
    for one in [*higher, *lower]:
        done = "already" if one.day <= day else "later"
        return f"where flush {one.flush} was picked {done}, on {habits.day(one.day)}"
    last = max(before, key=lambda one: (one.flush, one.day), default=None)
    if last is None:
        return "where none was picked before it" if flush > 1 else ""
    return _after_the_last(day, flush, last, gap_days=gap_days)


def _after_the_last(day: date, flush: int, last: BlockPick, *, gap_days: int) -> str:
    days, since = (day - last.day).days, f"flush {last.flush}, picked on {habits.day(last.day)}"
    if flush > last.flush + 1:
        return f"where the last before it was {since}"
    if flush > last.flush and days and is_near_day(last, day, gap_days=gap_days):
        return f"{show_count(days, 'day', 'days')} after {since}"
    if flush == last.flush and days > gap_days:
        return f"{show_count(days, 'day', 'days')} after it was picked last"
    return ""


# --- the weight ------------------------------------------------------------------------------


def weight_doubts(picked: Picked) -> Iterator[PlausibilityQuestion | None]:
    """Ask about a weight that other lots never gave, or that no block can have in it.

    4.4 kg from 4 blocks are 1.1 kg a block; where 500 g is usual, 2.00 kg were meant: pounds.
    A flush is picked over days: its picks are held against what is usual together.
    """
    impossible = _more_than_the_blocks(picked)
    yield impossible
    if impossible is None:
        others = [card.lot_id for card in picked.cards]
        usual = usual_weight_mg(picked.species, picked.flush, besides=others)
        unlike = _against_usual(picked, usual) if usual else _against_plan(picked)
        yield unlike or _more_than_they_can(picked)


def _more_than_the_blocks(picked: Picked) -> PlausibilityQuestion | None:
    """Refuse more picked in all than the blocks weigh, as filled, unless a note says why.

    No block gives more than is in it: the unit, the decimal mark or the list of blocks is wrong,
    and a tick given in a hurry would put mushrooms into the book that nobody can sell. But where
    the book has the blocks too light, what lies in the crate must not be turned away: then a note
    opens the way, and it is asked. Blocks of unknown weight are not asked about.
    """
    weights = [card.lot.quantity * (card.lot.unit_mass_mg or 0) for card in picked.cards]
    blocks_mg, gave_mg = sum(weights), picked.gave_mg()
    if not all(weights) or picked.total_mg + gave_mg <= blocks_mg:
        return None
    blocks = show_count(picked.blocks, "block", "blocks")
    said = (
        f"{both(picked.total_mg)} picked{_with(gave_mg)} is more than the blocks themselves weigh: "
        f"{blocks} of lot {picked.named}, {both(blocks_mg)} as filled."
    )
    if not picked.doing.reason.strip():
        hint = in_other_unit(picked.doing.by, picked.total_mg, lambda mg: mg + gave_mg <= blocks_mg)
        raise Malformed(
            f"{said}{hint} Check the unit and the decimal mark, or name all the blocks that it "
            "came from. If the blocks were filled heavier than that, say so under Note or Why.",
            picked.codes,
        )
    return PlausibilityQuestion(f"{said} Is it right?", picked.codes)


def _more_than_they_can(picked: Picked) -> PlausibilityQuestion | None:
    """Ask where all flushes together come to more than their substrate is known to give.

    Two blocks of 897 g dry matter give 3.588 kg at 200 %.
    """
    dry = dry_mg_of(card.recipe for card in picked.cards)
    each_mg = [dry.get(card.recipe_id or 0, 0) * card.lot.quantity for card in picked.cards]
    gave_mg, dry_mg = picked.gave_mg(), sum(each_mg)
    all_mg = picked.total_mg + gave_mg
    if not all(each_mg) or all_mg * PPM <= dry_mg * MOST_EFFICIENT_PPM:
        return None
    share = round((efficiency_ppm(all_mg, dry_mg) or 0) / 10_000)
    return PlausibilityQuestion(
        f"{both(picked.total_mg)} picked{_with(gave_mg)} is {share} % of the dry substrate in "
        f"{show_count(picked.blocks, 'block', 'blocks')} of lot {picked.named}, {both(dry_mg)}; "
        f"more than {MOST_EFFICIENT_PPM * 100 // PPM} % is hardly ever seen. Did all of it come "
        "from these blocks?",
        picked.codes,
    )


def _with(gave_mg: int) -> str:
    return f", with the {both(gave_mg)} that they gave besides," if gave_mg else ""


def _against_usual(picked: Picked, usual: Usual) -> PlausibilityQuestion | None:
    blocks, gave_mg = picked.blocks, picked.gave_mg(picked.flush)
    each_mg = (picked.total_mg + gave_mg) // blocks
    by = picked.doing.by
    hint = in_other_unit(by, picked.total_mg, lambda mg: is_near((mg + gave_mg) // blocks, usual))
    # Half a flush may be picked today and the rest tomorrow: little is doubtful only where it is
    # a tenth, or where kilos typed as pounds explain it; and never once the flush has begun.
    is_little = not gave_mg and (
        each_mg * SLIPPED < min(usual.middle, usual.least * SLIPPED)
        or (is_half(each_mg, usual) and hint)
    )
    if not (is_twice(each_mg, usual) or is_little):
        return None
    return PlausibilityQuestion(
        f"{both(picked.total_mg)} from {blocks} blocks{_with(gave_mg)} is {both(each_mg)} a "
        f"block, where {both(usual.middle)} is usual ({usual.count} lots, {both(usual.least)} to "
        f"{both(usual.most)}).{hint}",
        picked.codes,
    )


def _against_plan(picked: Picked) -> PlausibilityQuestion | None:
    planned_mg, gave_mg = 0, picked.gave_mg(picked.flush)
    for each in picked.cards:
        assert each.strain
        flushes_mg = each.strain.flushes_mg
        planned_mg += each.lot.quantity * (flushes_mg[min(picked.flush, 3) - 1] or flushes_mg[0])
    most_mg, by = TIMES_PLANNED * planned_mg, picked.doing.by
    hint = in_other_unit(by, picked.total_mg, lambda mg: mg + gave_mg <= most_mg)
    is_little = not gave_mg and picked.total_mg * TIMES_PLANNED < planned_mg and writes_pounds(by)
    if picked.total_mg + gave_mg <= most_mg and not is_little:
        return None
    return PlausibilityQuestion(
        f"{both(picked.total_mg)} from {picked.blocks} blocks{_with(gave_mg)}, where "
        f"{both(planned_mg)} was planned? Was it weighed in the other unit?{hint}",
        picked.codes,
    )
