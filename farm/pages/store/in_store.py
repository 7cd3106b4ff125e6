"""What is in store, place by place: /store/, and a whole shelf weighed in at once."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from farm.actions.recording import unfinished
from farm.models import Shelf, Stage
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.addresses import number_named
from farm.pages.frame import show
from farm.pages.from_phone import asks_for_json
from farm.pages.kept_pages import NOWHERE, may_be_kept
from farm.pages.recording.row_by_row import Done, record_rows, rows_from_phone
from farm.pages.report_files import answer_page, made_by, taken_away
from farm.pages.report_page import AnswerPage
from farm.pages.retrying import WaitingForm
from farm.pages.row_forms import RowsForm
from farm.pages.sent_forms import sent_form
from farm.pages.store.shelf_forms import ShelfForm
from farm.queries.store.in_store import Place, Stored, places_in_store, stored_lots
from farm.queries.store.water_loss import water_losses
from farm.reports.store.store_rows import store_report

WEIGHT = "weight_"
SHELF = "shelf:"
SHELF_WAITS = WaitingForm(
    SHELF, lambda shelf: ("Weigh in a shelf", reverse("shelf-weigh", args=[shelf]))
)


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
    """``recorded``: what was recorded of this form already, while the rest waits for answers.

    ``refusal``: why its rest waits since it was sent from a phone.
    """

    place: str
    form: RowsForm[Stored]
    recorded: tuple[str, ...]
    refusal: str


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
    sent = sent_form(request)
    name, stored = _on_shelf(request, shelf, _weighed(sent.data))
    form = ShelfForm(sent.data, farm=request.farm, person=request.person, things=stored)
    if request.method != "POST":
        shown = ShelfPage(name, form, (), sent.kept.refusal if sent.kept else "")
        return may_be_kept(show(request, "farm/store/weigh.html", shown))
    if asks_for_json(request):
        return rows_from_phone(
            request,
            form,
            name=f"{SHELF}{shelf}",
            said=lambda done: _said(form, done),
            leads_to=reverse("in-store"),
        )
    done = record_rows(request, form)
    if not form.errors:
        messages.success(request, _said(form, done))
        return redirect("in-store")
    said = tuple(str(one) for one in done.values())
    shown = ShelfPage(name, form.without(list(done)), said, "")
    return show(request, "farm/store/weigh.html", shown)


def _weighed(sent: QueryDict | None) -> set[int]:
    """The lots of which a weight was typed, by pk."""
    boxes = [
        name.removeprefix(WEIGHT)
        for name, typed in (sent or {}).items()
        if name.startswith(WEIGHT) and typed
    ]
    return {pk for box in boxes if (pk := number_named(box)) is not None}


def _on_shelf(
    request: PageRequest, shelf: str, weighed: Collection[int]
) -> tuple[str, dict[str, Stored]]:
    """The loose lots on a shelf, what goes first leading.

    ``weighed``: those that were weighed there and have moved or gone since, so that no weight that
    comes late from a phone is dropped.
    """
    found = None
    if shelf != NOWHERE:
        rows = Shelf.objects.select_related("room")
        found = get_or_refuse(request, rows, Right.RECORD, pk=number_named(shelf))
    stored = stored_lots(timezone.localtime(), water_losses(), besides=weighed)
    there = [one for one in stored if one.shelf == found or one.lot.pk in weighed]
    loose = {str(one.lot.pk): one for one in there if _is_loose(one)}
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


def _said(form: ShelfForm, done: Mapping[str, Done]) -> str:
    """Say what became of a form without anything wrong, and answer it where it waited."""
    entries = ", ".join(map(str, done.values()))
    said = f"Weighed {len(done)} of {len(form.things)} lots: {entries}."
    unfinished.answered(form.cleaned_data["uuid"], said)
    return said if done else "Nothing was weighed: nothing was recorded."
