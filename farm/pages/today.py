"""The home page: what there is to do today, what to record, what was just recorded."""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from django.http import HttpResponse
from django.utils import timezone

from farm.models import StallDay
from farm.pages.access import PageRequest, Right, page
from farm.pages.doings import DEEDS, Deed
from farm.pages.forms.correcting import UndoForm
from farm.pages.frame import show
from farm.pages.lookup_list import FirstThing, first_things
from farm.pages.retrying import UnfinishedRow, unfinished_rows
from farm.queries.entries import EntryRow, often, recent
from farm.queries.today import ToDoList, loads_to_settle, to_do


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
# What a farm does most, as long as its own entries do not say so.
USUAL = ("pick", "sell", "pack", "check", "receive-supplies", "throw-away")


@page(Right.READ)
def today(request: PageRequest) -> HttpResponse:
    day = timezone.localdate()
    shown = TodayPage(
        day=day,
        lists=to_do(day),
        loads=loads_to_settle(),
        unfinished=unfinished_rows(),
        recent=[(row, UndoForm(initial={"uuid": uuid4()})) for row in recent()],
        often=most_used(),
        first=first_things(),
    )
    return show(request, "farm/today/today.html", shown)


def most_used() -> list[Deed]:
    """The six actions that the newest entries name most, in the order of the work."""
    counts = often()
    usual = {slug: place for place, slug in enumerate(reversed(USUAL))}
    deeds = [deed for deed in DEEDS if not deed.time]
    deeds.sort(key=lambda deed: (-counts.get(deed.kind, 0), -usual.get(deed.slug, -1)))
    return sorted(deeds[:OFTEN], key=DEEDS.index)
