"""The home page: what there is to do today, what to record, what was just recorded."""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from django.http import HttpResponse
from django.utils import timezone

from farm.models import StallDay
from farm.pages.access import PageRequest, Right, page
from farm.pages.doings import Deed, deeds_by_group
from farm.pages.forms.correcting import UndoForm
from farm.pages.frame import show
from farm.pages.lookup_list import FirstThing, first_things
from farm.pages.retrying import UnfinishedRow, unfinished_rows
from farm.queries.entries import EntryRow, recent
from farm.queries.today import ToDoList, loads_to_settle, to_do


@dataclass(frozen=True)
class TodayPage:
    """``first``: what a new farm sets up first; empty once it is there."""

    day: date
    lists: list[ToDoList]
    loads: list[StallDay]
    unfinished: list[UnfinishedRow]
    recent: list[tuple[EntryRow, UndoForm]]
    groups: list[tuple[str, list[Deed]]]
    first: list[FirstThing]


@page(Right.READ)
def today(request: PageRequest) -> HttpResponse:
    day = timezone.localdate()
    shown = TodayPage(
        day=day,
        lists=to_do(day),
        loads=loads_to_settle(),
        unfinished=unfinished_rows(),
        recent=[(row, UndoForm(initial={"uuid": uuid4()})) for row in recent()],
        groups=deeds_by_group(),
        first=first_things(),
    )
    return show(request, "farm/today/today.html", shown)
