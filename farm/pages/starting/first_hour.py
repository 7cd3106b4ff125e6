"""The first hour: name the farm, take over what to start from, and the way to the first pick."""

from dataclasses import dataclass
from ipaddress import ip_address

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from farm.models import Farm, Rate
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from farm.pages.starting.first_hour_forms import BeginForm, Offer, TakeOverForm, time_offers
from farm.queries.starting.first_hour import Step, first_hour, next_step
from ledger.models import Entry


@dataclass(frozen=True)
class BeginPage:
    form: BeginForm


@dataclass(frozen=True)
class StepRow:
    """A step and where it is done."""

    step: Step
    address: str


@dataclass(frozen=True)
class StepsPage:
    rows: list[StepRow]
    next: StepRow | None
    done: int


@dataclass(frozen=True)
class TakeOverPage:
    """``times``: the standard times, which nobody has to tick."""

    form: TakeOverForm
    times: list[Offer]


@login_not_required
def begin(request: HttpRequest) -> HttpResponse:
    """Name the farm of an empty site, from the machine it runs on only."""
    if Farm.objects.exists():
        return redirect("today")
    if not _is_here(request):
        raise PermissionDenied(
            "This site has no farm yet. Name it on the machine that serves it: open it there at "
            "127.0.0.1, or run manage.py start."
        )
    form = BeginForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            owner = form.start()
        except ValidationError as refusal:
            _add(form, refusal)
        else:
            login(request, owner.user)
            return redirect("first-hour")
    return show(request, "farm/first_hour/begin.html", BeginPage(form))


@page(Right.CHANGE_FARM)
def steps(request: PageRequest) -> HttpResponse:
    rows = step_rows()
    ahead = next((row for row in rows if not row.step.is_done), None)
    done = sum(row.step.is_done for row in rows)
    return show(request, "farm/first_hour/steps.html", StepsPage(rows, ahead, done))


def step_rows() -> list[StepRow]:
    return [_row(step) for step in first_hour()]


def row_after(entry: Entry) -> StepRow | None:
    """The step that follows an entry while the first hour lasts."""
    step = next_step(entry)
    return _row(step) if step else None


def _row(step: Step) -> StepRow:
    return StepRow(step, reverse(step.page, args=step.about))


@page(Right.CHANGE_FARM)
def take_over(request: PageRequest) -> HttpResponse:
    """Offer starting strains, recipes, rooms and rates, each with its source."""
    data = request.POST if request.method == "POST" else None
    rated = set(Rate.objects.values_list("of", flat=True))
    form = TakeOverForm(data, farm=request.farm, rated=rated)
    if data is not None and form.is_valid():
        with transaction.atomic():
            form.take_over()
        messages.success(request, "Taken over. Every figure can be changed under Farm details.")
        return redirect("first-hour")
    return show(request, "farm/first_hour/take_over.html", TakeOverPage(form, time_offers()))


def _is_here(request: HttpRequest) -> bool:
    """Say whether the browser runs on the machine that serves the site, with no proxy between."""
    proxied = "HTTP_X_FORWARDED_FOR" in request.META or "HTTP_FORWARDED" in request.META
    try:
        return ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback and not proxied
    except ValueError:
        return False


def _add(form: BeginForm, refusal: ValidationError) -> None:
    """Put a refusal beside the field it is about: a password's and a name's are about people."""
    known = {"username": "account"}
    if not hasattr(refusal, "error_dict"):
        form.add_error("password", refusal)
        return
    for name, said in refusal.error_dict.items():
        field = known.get(name, name)
        form.add_error(field if field in form.fields else None, said)
