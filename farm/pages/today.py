"""The home page: what there is to do today, what to record, what was just recorded."""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from django.http import HttpResponse
from django.utils import timezone

from farm.models import Person, StallDay
from farm.pages import seen
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.doings import DEEDS, Deed, may_do
from farm.pages.forms.correcting import UndoForm
from farm.pages.frame import show
from farm.pages.lookup_list import FirstThing, first_things
from farm.pages.retrying import UnfinishedRow, unfinished_rows
from farm.queries.entries import EntryRow, entries, often, rows_of
from farm.queries.sales import open_loads
from farm.queries.today import ToDoList, to_do


@dataclass(frozen=True)
class TodayPage:
    """``first``: what a new farm sets up first; empty once it is there. ``often``: most used."""

    day: date
    lists: list[ToDoList]
    loads: list[StallDay]
    unfinished: list[UnfinishedRow]
    recent: list[tuple[EntryRow, UndoForm]]
    often: list[Deed]
    first: list[FirstThing]


OFTEN = 6
NEWEST = 5
# What a farm does most, as long as its own entries do not say so.
USUAL = ("pick", "sell", "pack", "check", "receive-supplies", "throw-away")


@page(Right.READ)
def today(request: PageRequest) -> HttpResponse:
    day, person = timezone.localdate(), request.person
    shown = TodayPage(
        day=day,
        lists=to_do(day) if may(person, Right.SEE_WORK) else [],
        loads=list(seen.loads(person, open_loads())),
        unfinished=unfinished_rows(person),
        recent=[(row, UndoForm(initial={"uuid": uuid4()})) for row in newest_of(person)],
        often=most_used(person),
        first=first_things() if may(person, Right.CHANGE_FARM) else [],
    )
    return show(request, "farm/today/today.html", shown)


def newest_of(person: Person) -> list[EntryRow]:
    """The last entries that somebody may see."""
    return rows_of(seen.entries(person, entries())[:NEWEST])


def most_used(person: Person) -> list[Deed]:
    """The six actions open to somebody that the newest entries name most, in the work's order."""
    counts = often()
    usual = {slug: place for place, slug in enumerate(reversed(USUAL))}
    deeds = [deed for deed in DEEDS if not deed.time and may_do(person, deed)]
    deeds.sort(key=lambda deed: (-counts.get(deed.kind, 0), -usual.get(deed.slug, -1)))
    return sorted(deeds[:OFTEN], key=DEEDS.index)
