"""What is in store, place by place: /store/, and a whole shelf weighed in at once."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from farm.models import Shelf, Stage
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.forms.rows import RowsForm
from farm.pages.forms.shelf import ShelfForm
from farm.pages.frame import show
from farm.pages.handing_out import answer_page, made_by, taken_away
from farm.pages.laid_out import AnswerPage
from farm.pages.row_by_row import Done, record_rows
from farm.queries.in_store import Place, Stored, places_in_store, stored_lots
from farm.queries.water_loss import water_losses
from farm.reports.store_rows import store_report

NOWHERE = "none"  # the address of lots whose place was never stated


@dataclass(frozen=True)
class Weighable:
    """A place with something loose in it, and where it is weighed in."""

    name: str
    shelf: str
    lots: int


@dataclass(frozen=True)
class InStorePage:
    answer: AnswerPage
    weighable: tuple[Weighable, ...]


@dataclass(frozen=True)
class ShelfPage:
    """``recorded``: what was recorded of this form already, while the rest waits for answers."""

    place: str
    form: RowsForm[Stored]
    recorded: tuple[str, ...]


@page(Right.SEE_WORK)
def in_store(request: PageRequest) -> HttpResponse:
    losses = water_losses()
    places = places_in_store(timezone.localtime(), losses)
    report = store_report(places, losses, made_by(request))
    if (file := taken_away(request, report, "in-store")) is not None:
        return file
    ways = _weighable(places) if may(request.person, Right.RECORD) else ()
    shown = InStorePage(answer_page(request, report, codes_lead_to="lot"), ways)
    return show(request, "farm/store/in_store.html", shown)


@page(Right.RECORD)
def weigh_shelf(request: PageRequest, shelf: str) -> HttpResponse:
    """Weigh in what is loose on a shelf; what was recorded leaves the form, the rest stays."""
    name, stored = _on_shelf(request, shelf)
    if request.method != "POST":
        form = ShelfForm(farm=request.farm, person=request.person, things=stored)
        return show(request, "farm/store/weigh.html", ShelfPage(name, form, ()))
    form = ShelfForm(request.POST, farm=request.farm, person=request.person, things=stored)
    done = record_rows(request, form)
    if not form.errors:
        messages.success(request, _said(done, len(stored)))
        return redirect("in-store")
    said = tuple(str(one) for one in done.values())
    shown = ShelfPage(name, form.without(list(done)), said)
    return show(request, "farm/store/weigh.html", shown)


def _on_shelf(request: PageRequest, shelf: str) -> tuple[str, dict[str, Stored]]:
    """The loose lots on a shelf, what goes first leading."""
    found = None
    if shelf != NOWHERE:
        rows = Shelf.objects.select_related("room")
        pk = int(shelf) if shelf.isdigit() else 0
        found = get_or_refuse(request, rows, Right.RECORD, pk=pk)
    stored = stored_lots(timezone.localtime(), water_losses())
    loose = {str(one.lot.pk): one for one in stored if one.shelf == found and _is_loose(one)}
    return str(found or "Place not stated"), loose


def _weighable(places: Sequence[Place]) -> tuple[Weighable, ...]:
    counted = [(place, sum(map(_is_loose, place.lots))) for place in places]
    return tuple(
        Weighable(place.name, str(place.shelf.pk) if place.shelf else NOWHERE, lots)
        for place, lots in counted
        if lots
    )


def _is_loose(one: Stored) -> bool:
    return bool(one.lot.card.stage == Stage.CROP)


def _said(done: dict[str, Done], on_shelf: int) -> str:
    if not done:
        return "Nothing was weighed: nothing was recorded."
    entries = ", ".join(map(str, done.values()))
    return f"Weighed {len(done)} of {on_shelf} lots: {entries}."
