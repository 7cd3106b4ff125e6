"""The home page: what there is to do today."""

from dataclasses import dataclass
from datetime import date

from django.http import HttpResponse
from django.utils import timezone

from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show


@dataclass(frozen=True)
class TodayPage:
    day: date


@page(Right.READ)
def today(request: PageRequest) -> HttpResponse:
    return show(request, "farm/today/today.html", TodayPage(day=timezone.localdate()))
