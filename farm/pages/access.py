"""Fetch and authorise in one step: every page gets its person, farm and objects here.

What each role may do stands in RIGHTS below; which rows of it a person is shown, in seen.py.
"""

from collections.abc import Callable
from enum import Enum
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.template.response import SimpleTemplateResponse
from django.utils import timezone

from farm.habits import day, written_as
from farm.models.people.people import Farm, Person, Role, the_farm
from farm.pages.entering import entering

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
    SEE_REACH = "look how far something reaches"  # all of it, before it is held or recalled
    SEE_RECEIVERS = "see who received what is recalled"
    SEE_ILLNESS = "see notes on illness"


RIGHTS: dict[str, frozenset[Right]] = {
    Role.OWNER: frozenset(Right),
    Role.HELPER: frozenset(
        {Right.READ, Right.SEE_LOTS, Right.SEE_WORK, Right.RECORD, Right.SEE_RECIPES}
        | {Right.SEE_SAFETY, Right.SEE_REACH, Right.SEE_ORDERS}
    ),
    Role.SELLER: frozenset({Right.READ, Right.SEE_LOTS, Right.SELL}),
    Role.BOOKKEEPER: frozenset(
        {Right.READ, Right.SEE_LOTS, Right.SEE_WORK, Right.SEE_ORDERS}
        | {Right.SEE_SALES, Right.SEE_COSTS, Right.KEEP_MONEY}
    ),
    Role.INSPECTOR: frozenset({Right.READ, Right.SEE_LOTS, Right.SEE_SAFETY, Right.SEE_RECEIVERS}),
}

# Of whom one suffices for what is recorded at a stall as well as on the farm.
STALL = (Right.RECORD, Right.SELL)


class PageRequest(HttpRequest):
    """A request that `page` let through: signed in, with a person and a farm."""

    person: Person
    farm: Farm


class SignedIn(ModelBackend):
    """Django's own way to sign in; who is signed in comes with their person, in one query."""

    def get_user(self, user_id: int) -> User | None:
        user = User.objects.select_related("person").filter(pk=user_id).first()
        return user if user and self.user_can_authenticate(user) else None


Page = Callable[Concatenate[PageRequest, Parts], HttpResponseBase]
View = Callable[Concatenate[HttpRequest, Parts], HttpResponseBase]


def page(*rights: Right, to_send: Right | None = None) -> Callable[[Page[Parts]], View[Parts]]:
    """Let a request through to a page only with one of `rights`; hand it its person and farm.

    ``to_send``: the right that its form asks for, where more see the page than may send it.

    The page works and is rendered in the farm's time zone, and writes numbers by its habit.
    """

    def guard(shown: Page[Parts]) -> View[Parts]:
        @wraps(shown)
        def view(
            plain: HttpRequest, /, *args: Parts.args, **kwargs: Parts.kwargs
        ) -> HttpResponseBase:
            require(plain, *((to_send,) if to_send and plain.method == "POST" else rights))
            request = cast(PageRequest, plain)
            request.person = person_of(plain)
            request.farm = farm_for(request.person)
            with timezone.override(request.farm.zone), written_as(request.farm.habit):
                response = shown(request, *args, **kwargs)
                if isinstance(response, SimpleTemplateResponse):
                    response.render()
            return response

        view.__dict__["rights"] = rights  # a test looks for it on every address of the site
        view.__dict__["to_send"] = to_send
        return view

    return guard


def farm_for(person: Person) -> Farm:
    """Return the farm as this person weighs: never saved, for reading and showing only."""
    farm = the_farm()
    farm.weight_unit = person.weight_unit or farm.weight_unit
    return farm


def require(request: HttpRequest, *rights: Right) -> None:
    """Refuse the request unless its person has one of `rights`."""
    person = person_of(request)
    if not any(may(person, right) for right in rights):
        raise PermissionDenied(
            f"You may not {rights[0].value} as {_a(person.get_role_display())}. "
            "Ask the owner to do it."
        )


def get_or_refuse(request: HttpRequest, rows: QuerySet[Row], *rights: Right, **lookup: Any) -> Row:
    """Return the one row that `lookup` finds, if the person has one of `rights`; one query.

    The right is checked first, so a refused person does not learn what exists. Where a role is
    shown some rows only, ``rows`` come from seen.py, and any other row is not found.
    """
    require(request, *rights)
    return get_object_or_404(rows, **lookup)


def may(person: Person, right: Right) -> bool:
    """Say whether the person's role holds `right`, and so does the sign-in they enter under.

    A PIN is short and typed in sight of others: it never opens more than the device's sign-in.
    """
    under = person.entering_under
    return right in RIGHTS[person.role] and (under is None or right in RIGHTS[under.role])


def sees_stall_prices(person: Person) -> bool:
    """Say whether somebody sees what is asked and taken at a stall: a seller, at their own."""
    return may(person, Right.SEE_SALES) or may(person, Right.SELL)


def person_of(request: HttpRequest) -> Person:
    """Return who is entering: who is signed in, or who took over by a PIN (entering.py).

    One query for who took over, the first time, else none. A sign-in without a person (made by
    hand, say) may do nothing; nor may an inspector after the last day to look.
    """
    known = getattr(request, "person", None)
    if isinstance(known, Person):
        return known
    person = getattr(request.user, "person", None)
    if not isinstance(person, Person):
        raise PermissionDenied("This sign-in has no role on the farm yet. Ask the owner for one.")
    _refuse_after_last_day(person)
    return entering(request, person)


def _refuse_after_last_day(person: Person) -> None:
    last = person.expires_on
    if last is not None and last < timezone.localdate(timezone=the_farm().zone):
        raise PermissionDenied(
            f"{day(last)} was the last day on which {person} may look. Ask the owner for more."
        )


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"
