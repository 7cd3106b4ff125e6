"""Which forms a telephone may keep for use without a signal, and where they are sent to."""

from collections.abc import Iterable, Iterator
from copy import copy
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import islice, product

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from farm.models import Farm, Person, Role, StallDay
from farm.pages import visible_rows
from farm.pages.access import Right, may
from farm.pages.deeds import DEEDS, Deed, may_do
from farm.pages.fields import RowField
from farm.queries.day.wall_sheets import TITLES, in_pages, sheet_rows
from farm.queries.sales import open_loads
from farm.queries.store.in_store import places_in_use
from farm.records import OPEN_KINDS

# Asked with by a telephone that keeps pages, and answered with where a page may be kept.
KEEP = "Ledger-Keep"
# The names of a round are shown without a signal on its day and, kept the evening before, the next.
NAMES_STAY = timedelta(days=2)
# In the address of a shelf: the lots whose place was never stated.
NOWHERE = "none"
# So many answers of a first step are kept, such as the recipes to fill by.
MOST_ANSWERS = 40


@dataclass(frozen=True)
class KeptForm:
    """``is_first``: it is listed; others are reached from it, such as each product's packing."""

    title: str
    address: str
    is_first: bool = True


def is_keeping(request: HttpRequest) -> bool:
    """Say whether a telephone asks for a page to keep it."""
    return KEEP in request.headers


def without_money(person: Person) -> Person:
    """Return the person as a kept page is shown to them: no price is left lying on a telephone."""
    shown = copy(person)
    if may(person, Right.SEE_SALES):
        shown.role = Role.HELPER
    return shown


def may_be_kept(response: HttpResponse, *, names_customers: bool = False) -> HttpResponse:
    """Let a telephone keep a page; one that names customers says until when it is shown there."""
    until = datetime.combine(timezone.localdate() + NAMES_STAY, time.min)
    response.headers[KEEP] = timezone.make_aware(until).isoformat() if names_customers else "yes"
    return response


def kept_forms(person: Person, farm: Farm) -> list[KeptForm]:
    """List the forms a person may fill in without a signal, in the order of the work."""
    found: list[KeptForm] = []
    for deed in DEEDS:
        if may_do(person, deed):
            found += _forms_of(deed, farm, person)
    found += [
        KeptForm(f"Till, {load.place}", reverse("till", args=[load.pk])) for load in _tills(person)
    ]
    if may(person, Right.RECORD):
        found += [
            KeptForm(kind.title, reverse("record-add", args=[kind.slug])) for kind in OPEN_KINDS
        ]
        found.append(KeptForm("Wall sheets", reverse("wall-sheets")))
        found += _where_it_stands()
    return found


def wall_pages(person: Person) -> Iterator[str]:
    """Where each page of today's wall sheets is typed up."""
    today = timezone.localdate()
    for sheet in TITLES if may(person, Right.RECORD) else ():
        for number, _ in enumerate(in_pages(sheet_rows(sheet, today)), 1):
            yield reverse("wall-type-up", args=[sheet, str(today), number])


def sent_to(person: Person) -> list[str]:
    """Addresses whose forms a telephone keeps when they cannot be sent; private records never.

    One that ends in a star stands for all that begin alike: sheets of any day.
    """
    deeds = [reverse("record-action", args=[deed.slug]) for deed in DEEDS]
    kinds = OPEN_KINDS if may(person, Right.RECORD) else ()
    deeds += [reverse("till-tap", args=[load.pk]) for load in _tills(person)]
    if may(person, Right.RECORD):
        deeds += [
            reverse("wall-sheets") + "*",
            reverse("in-store") + "weigh/*",
            reverse("count-start"),
        ]
    return deeds + [reverse("record-add", args=[kind.slug]) for kind in kinds]


def _where_it_stands() -> Iterator[KeptForm]:
    """A page for each shelf with something to weigh, and one for each room with anything in it.

    A room is counted without what the book says, which would be what it said at the last visit.
    """
    shelves, rooms = places_in_use()
    for shelf in shelves:
        address = reverse("shelf-weigh", args=[shelf.pk if shelf else NOWHERE])
        yield KeptForm(f"Weigh in {shelf or 'what has no place'}", address)
    for room in rooms:
        asked = urlencode({"room": str(room.pk), "what": "all", "hidden": "on"})
        yield KeptForm(f"Count {room}", f"{reverse('count-start')}?{asked}")


def _tills(person: Person) -> Iterable[StallDay]:
    """The stalls that are loaded and at whose till this person may stand."""
    return visible_rows.loads(person, open_loads()) if may(person, Right.SELL) else ()


def _forms_of(deed: Deed, farm: Farm, person: Person) -> list[KeptForm]:
    """A form by itself, or its first step with each answer to it."""
    address = reverse("record-action", args=[deed.slug])
    if deed.form.first is None:
        return [KeptForm(deed.title, address)]
    asked = deed.form.first.base_fields
    if any(isinstance(field, forms.ChoiceField) for field in asked.values()):
        first = deed.form.first(None, farm=farm)
        first.narrow(person)
        first.narrow_for_phone()
        asked = first.fields
    answers = product(*(_answers(name, field) for name, field in asked.items()))
    below = [KeptForm(deed.title, f"{address}?{urlencode(said)}", False) for said in answers]
    return [KeptForm(deed.title, address), *below] if below else []


def _answers(name: str, field: forms.Field) -> Iterator[tuple[str, str]]:
    """What a browser would send for each choice of a field; blank stands for any answer.

    One page serves any number and any lot, also one that came after the last visit; so it does
    where the list is long and cut off, as of the newest sales.
    """
    if isinstance(field, RowField) and field.most is None:
        yield from ((name, str(row.pk)) for row in field.rows[:MOST_ANSWERS])
    elif isinstance(field, forms.ChoiceField) and not isinstance(field, RowField):
        choices = (str(key) for key, _ in field.choices if key)  # type: ignore[misc, union-attr]
        yield from ((name, answer) for answer in islice(choices, MOST_ANSWERS))
    else:
        yield name, ""
