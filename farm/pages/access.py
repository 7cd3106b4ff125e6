"""Fetch and authorise in one step: every page gets its person, farm and objects here.

What each role may do stands in RIGHTS below; which rows of it a person is shown, in seen.py.
"""

from collections.abc import Callable
from enum import Enum
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.core.exceptions import PermissionDenied
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.template.response import SimpleTemplateResponse
from django.utils import timezone

from farm.models.people import Farm, Person, Role, the_farm

Row = TypeVar("Row", bound=Model)
Parts = ParamSpec("Parts")


class Right(Enum):
    """What a page asks of a person; the value completes “You may not …”."""

    READ = "see this page"  # anyone signed in
    SEE_LOTS = "see lots and what was recorded of them"  # each person their own: seen.py
    SEE_WORK = "see the farm's work and stock"
    RECORD = "record work"
    SEE_RECIPES = "see recipes"
    SEE_SAFETY = "see the safety records"
    SEE_ORDERS = "see orders"  # what was ordered, without prices
    SELL = "sell at a stall"  # load, sell, bring back, cash up
    SEE_SALES = "see sales, prices and customers' money"
    SEE_COSTS = "see costs and margins"
    KEEP_MONEY = "issue invoices and enter payments"
    CHANGE_FARM = "change the farm's own settings and lists"
    SEE_ILLNESS = "see notes on illness"

    SEE_MONEY = SEE_SALES


RIGHTS: dict[str, frozenset[Right]] = {
    Role.OWNER: frozenset(Right),
    Role.HELPER: frozenset(
        {Right.READ, Right.SEE_LOTS, Right.SEE_WORK, Right.RECORD, Right.SEE_RECIPES}
        | {Right.SEE_SAFETY, Right.SEE_ORDERS}
    ),
    Role.SELLER: frozenset({Right.READ, Right.SEE_LOTS, Right.SELL}),
    Role.BOOKKEEPER: frozenset(
        {Right.READ, Right.SEE_LOTS, Right.SEE_WORK, Right.SEE_SAFETY, Right.SEE_ORDERS}
        | {Right.SEE_SALES, Right.SEE_COSTS, Right.KEEP_MONEY}
    ),
    Role.INSPECTOR: frozenset({Right.READ, Right.SEE_LOTS, Right.SEE_SAFETY}),
}


class PageRequest(HttpRequest):
    """A request that `page` let through: signed in, with a person and a farm."""

    person: Person
    farm: Farm


Page = Callable[Concatenate[PageRequest, Parts], HttpResponseBase]
View = Callable[Concatenate[HttpRequest, Parts], HttpResponseBase]


def page(right: Right) -> Callable[[Page[Parts]], View[Parts]]:
    """Let a request through to a page only with `right`; hand it its person and farm.

    The page works and is rendered in the farm's time zone.
    """

    def guard(shown: Page[Parts]) -> View[Parts]:
        @wraps(shown)
        def view(
            plain: HttpRequest, /, *args: Parts.args, **kwargs: Parts.kwargs
        ) -> HttpResponseBase:
            require(plain, right)
            request = cast(PageRequest, plain)
            request.person = person_of(plain)
            request.farm = the_farm()
            with timezone.override(request.farm.zone):
                response = shown(request, *args, **kwargs)
                if isinstance(response, SimpleTemplateResponse):
                    response.render()
            return response

        view.__dict__["right"] = right  # a test looks for it on every address of the site
        return view

    return guard


def require(request: HttpRequest, right: Right) -> None:
    """Refuse the request unless its person has `right`."""
    person = person_of(request)
    if not may(person, right):
        raise PermissionDenied(
            f"You may not {right.value} as a {person.get_role_display()}. Ask the owner to do it."
        )


def get_or_refuse(request: HttpRequest, rows: QuerySet[Row], right: Right, **lookup: Any) -> Row:
    """Return the one row that `lookup` finds, if the person has `right`; one query.

    The right is checked first, so a refused person does not learn what exists.
    """
    require(request, right)
    return get_object_or_404(rows, **lookup)


def may(person: Person, right: Right) -> bool:
    """Say whether the person's role holds `right`."""
    return right in RIGHTS[person.role]


def person_of(request: HttpRequest) -> Person:
    """Return who is signed in; one query, the first time.

    A sign-in without a person (made by hand, say) may do nothing.
    """
    person = getattr(request.user, "person", None)
    if not isinstance(person, Person):
        raise PermissionDenied("This sign-in has no role on the farm yet. Ask the owner for one.")
    return person
