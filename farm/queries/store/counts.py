"""Stock counts as they were found, checked against what the book said then."""

from collections import Counter
from dataclasses import dataclass
from datetime import date
from enum import Enum

from django.db.models import QuerySet

from farm.models import Answered, Room, Stage, StockCount, StockCountAnswer, StockCountLine
from farm.queries.stock import lots_on_hand, shelf_of
from ledger.models import Dimension, Lot

SCALE_MG = 10_000  # so much may be the scale's: own rule


class Verdict(Enum):
    """How what was found stands to the book; the words are shown."""

    AGREES = "agrees"
    INSIDE = "inside the band: water"
    BEYOND = "less than water explains"
    MORE = "more than the book"
    UNSEEN = "not counted"


@dataclass(frozen=True)
class Checked:
    """A line of a count beside the book, with the answers it may still be given."""

    line: StockCountLine
    verdict: Verdict
    answer: StockCountAnswer | None
    choices: tuple[Answered, ...]

    @property
    def difference(self) -> int | None:
        return None if self.line.found is None else self.line.found - self.line.book

    @property
    def is_open(self) -> bool:
        return bool(self.choices) and self.answer is None


@dataclass(frozen=True)
class CountRow:
    """A count in a list: how many lots came out how, and how many differences wait."""

    count: StockCount
    found: dict[Verdict, int]
    open: int

    @property
    def lots(self) -> int:
        """How many lots were looked at."""
        return sum(self.found.values()) - self.found.get(Verdict.UNSEEN, 0)


def counts() -> QuerySet[StockCount]:
    return StockCount.objects.select_related("room", "by", "typed_by")


def count_rows(first: date | None = None, last: date | None = None) -> list[CountRow]:
    """Counts of some days, or all, newest first; two queries more, however many."""
    found = counts().prefetch_related(*_LINES)
    if first is not None and last is not None:
        found = found.filter(happened_on__range=(first, last))
    return [_row(count) for count in found]


def checked_lines(count: StockCount) -> list[Checked]:
    """Every line of a count, what differs first."""
    lines = StockCountLine.objects.filter(count=count).select_related(
        "lot__item", "lot__card__product", "lot__card__strain", "lot__made_by"
    )
    found = [checked(line) for line in lines.prefetch_related(*_ANSWERS)]
    order = list(ORDER)
    return sorted(found, key=lambda one: (order.index(one.verdict), one.line.pk))


def checked(line: StockCountLine) -> Checked:
    verdict = verdict_of(line)
    return Checked(line, verdict, standing_answer(line), _choices(line, verdict))


def verdict_of(line: StockCountLine) -> Verdict:
    """Hold what was found against the book: 9.7 kg of 10 agree with nothing, but may be water."""
    if line.found is None:
        return Verdict.UNSEEN
    slack = SCALE_MG if line.lot.item.dimension == Dimension.MASS and line.found else 0
    if abs(line.found - line.book) <= slack:
        return Verdict.AGREES
    if line.found > line.book:
        return Verdict.MORE
    return Verdict.INSIDE if line.found and line.found >= line.least - slack else Verdict.BEYOND


def standing_answer(line: StockCountLine) -> StockCountAnswer | None:
    """The last answer whose entry, if it has one, was not taken back."""
    for answer in reversed(list(line.answers.all())):
        if not answer.entry or not any(one.takes_back for one in answer.entry.amendments.all()):
            return answer
    return None


def lots_to_count(room: Room | None, stages: tuple[int, ...]) -> list[Lot]:
    """Lots on hand in a room, or everywhere, in the order of their places; with ``where``."""
    lots = lots_on_hand(*stages)
    if room is not None:
        shelves = shelf_of(lots)
        lots = [lot for lot in lots if lot.pk in shelves and shelves[lot.pk].room_id == room.pk]
    return sorted(lots, key=lambda lot: (getattr(lot, "where", ""), lot.card.stage, lot.pk))


ORDER = (Verdict.BEYOND, Verdict.MORE, Verdict.INSIDE, Verdict.AGREES, Verdict.UNSEEN)
_ANSWERS = ("answers__entry__amendments",)
_LINES = ("lines__lot__item", "lines__lot__card", *(f"lines__{name}" for name in _ANSWERS))


def _row(count: StockCount) -> CountRow:
    lines = [checked(line) for line in count.lines.all()]
    return CountRow(
        count, dict(Counter(one.verdict for one in lines)), sum(one.is_open for one in lines)
    )


def _choices(line: StockCountLine, verdict: Verdict) -> tuple[Answered, ...]:
    """A pick that weighs less is weighed again, so that its water costs nothing."""
    if verdict in (Verdict.AGREES, Verdict.UNSEEN):
        return ()
    is_less = verdict is not Verdict.MORE and bool(line.found)
    if line.lot.card.stage == Stage.CROP and is_less:
        return (Answered.WEIGHED, Answered.LEFT)
    return (Answered.COUNTED, Answered.LEFT)
