"""The home page: what there is to do today, what to record, what was just recorded."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from django.http import HttpResponse
from django.utils import timezone

from farm.kinds.growing import CHECK, PICK, RECEIVE_SUPPLIES
from farm.kinds.selling import SELL
from farm.kinds.store import PACK, THROW_AWAY
from farm.models import Person, Recall, StallDay
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.asking_form import UndoForm
from farm.pages.deeds import DEEDS, Deed, may_do
from farm.pages.frame import show
from farm.pages.retrying import UnfinishedRow, unfinished_rows
from farm.pages.starting.first_hour import StepRow, step_rows
from farm.queries.day.today import RoomToDo, by_room, to_do
from farm.queries.entries import EntryRow, entries, often, rows_of
from farm.queries.orders.orders import DueOrder, due_or_late
from farm.queries.records.paperwork import DailyPaper, daily_papers
from farm.queries.sales import open_loads
from farm.queries.starting.first_hour import is_past
from farm.queries.tracing.recalls import open_recalls
from farm.reports.tracing.recall_rows import still_to_do


@dataclass(frozen=True)
class TodayPage:
    """``first``: the way to the first pick; empty once it is behind. ``often``: most used.

    ``recalls``: those that are open, each with what is left to do.
    """

    day: date
    recalls: list[tuple[Recall, str]]
    rooms: list[RoomToDo]
    loads: list[StallDay]
    orders: list[DueOrder]
    papers: list[DailyPaper]
    unfinished: list[UnfinishedRow]
    recent: list[tuple[EntryRow, UndoForm]]
    often: list[Deed]
    first: list[StepRow]


OFTEN = 6
NEWEST = 3
# What a farm does most, as long as somebody's own entries do not say so.
USUAL = (PICK.slug, SELL.slug, PACK.slug, CHECK.slug, RECEIVE_SUPPLIES.slug, THROW_AWAY.slug)


@page(Right.READ)
def today(request: PageRequest) -> HttpResponse:
    day, person = timezone.localdate(), request.person
    newest, counts = newest_of(person), often(person, day)
    found = open_recalls() if may(person, Right.CHANGE_FARM) else []
    shown = TodayPage(
        day=day,
        recalls=[(recall, still_to_do(left)) for recall, left in found],
        rooms=by_room(to_do(day)) if may(person, Right.SEE_WORK) else [],
        loads=list(visible_rows.loads(person, open_loads())),
        orders=to_deliver(day) if may(person, Right.SEE_ORDERS) else [],
        papers=daily_papers(day) if may(person, Right.RECORD) else [],
        unfinished=unfinished_rows(person),
        recent=[(row, UndoForm(initial={"uuid": uuid4()})) for row in newest],
        often=most_used(person, counts),
        first=_first_steps(person, has_picked=PICK in counts),
    )
    return show(request, "farm/today/today.html", shown)


def to_deliver(day: date) -> list[DueOrder]:
    return [due for due in due_or_late(day, day) if due.is_open]


def _first_steps(person: Person, *, has_picked: bool) -> list[StepRow]:
    """The way to the first pick, which somebody else than this owner may have been the first to."""
    is_ahead = may(person, Right.CHANGE_FARM) and not has_picked and not is_past()
    return step_rows() if is_ahead else []


def newest_of(person: Person) -> list[EntryRow]:
    """The last entries that somebody may see."""
    return rows_of(visible_rows.entries(person, entries())[:NEWEST])


def most_used(person: Person, counts: Mapping[str, int]) -> list[Deed]:
    """The six actions open to somebody that their own entries name most, in the work's order.

    Those of the days before are counted: they stay for a day where a thumb finds them again.
    """
    usual = {slug: place for place, slug in enumerate(reversed(USUAL))}
    deeds = [deed for deed in DEEDS if not deed.kind.entered_as and may_do(person, deed)]
    deeds.sort(key=lambda deed: (-counts.get(deed.kind, 0), -usual.get(deed.slug, -1)))
    return sorted(deeds[:OFTEN], key=DEEDS.index)
