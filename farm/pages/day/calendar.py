"""What is due, as a page, and as a feed that a calendar program reads at a secret address."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from farm.actions.day.calendar import give_up_calendar, person_with, renew_calendar
from farm.exchange.icalendar import calendar
from farm.models import CalendarAddress, Person, the_farm
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.frame import show
from farm.queries.day.calendar import WEEKS_AHEAD, Due, due_from


@dataclass(frozen=True)
class CalendarPage:
    """``secret_address``: shown once, right after it was made."""

    days: list[tuple[date, list[Due]]]
    weeks: int
    address: CalendarAddress | None
    secret_address: str = ""


@page(Right.SEE_WORK)
def calendar_page(request: PageRequest) -> HttpResponse:
    return _renew(request) if request.method == "POST" else _show(request)


def _renew(request: PageRequest) -> HttpResponse:
    """Make the person's address anew, or give it up; the old one leads nowhere at once."""
    if "give_up" in request.POST:
        give_up_calendar(request.person)
        return _show(request)
    secret = renew_calendar(request.person)
    return _show(request, request.build_absolute_uri(reverse("calendar-feed", args=[secret])))


@require_safe
@login_not_required
def calendar_feed(request: HttpRequest, secret: str) -> HttpResponse:
    """Hand the calendar to whoever knows the secret; a calendar program cannot sign in."""
    person = person_with(secret)
    if person is None:
        raise Http404
    farm = the_farm()
    with timezone.override(farm.zone):
        due = list(_seen_by(person, due_from(timezone.localdate())))
    response = HttpResponse(
        calendar(f"{farm}: what is due", due, timezone.now()),
        content_type="text/calendar; charset=utf-8",
    )
    response["Cache-Control"] = "private, no-store"
    return response


def _show(request: PageRequest, secret_address: str = "") -> HttpResponse:
    due = _seen_by(request.person, due_from(timezone.localdate()))
    shown = CalendarPage(
        days=[(day, list(found)) for day, found in groupby(due, key=lambda one: one.day)],
        weeks=WEEKS_AHEAD,
        address=CalendarAddress.objects.filter(person=request.person).first(),
        secret_address=secret_address,
    )
    response = show(request, "farm/calendar/calendar.html", shown)
    if secret_address:
        response["Cache-Control"] = "no-store"
    return response


def _seen_by(person: Person, due: list[Due]) -> Iterator[Due]:
    """Leave out customers' money where the person may not see it, and all but for the work."""
    if not may(person, Right.SEE_WORK):
        return iter(())
    return (one for one in due if not one.is_money or may(person, Right.SEE_SALES))
