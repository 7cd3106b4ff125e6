"""What surrounds every page: the farm's name, the person, the ways to go."""

from dataclasses import dataclass, fields, is_dataclass
from functools import cache

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import resolve, reverse

from farm.models.people.people import Farm, Person
from farm.pages.access import Right, may, person_of

# The parts of the site, and in each its ways: a label, and the name of the address.
# A way is offered to whomever its page lets in, so no right is said twice.
PARTS = (
    (
        "Today",
        "what is due, what waits",
        (
            ("Today", "today"),
            ("What is due", "calendar"),
            ("To sort out", "unfinished"),
            ("Not sent yet", "not-sent"),
        ),
    ),
    (
        "Record",
        "from the delivery to the sale",
        (("Record", "record"), ("Wall sheets", "wall-sheets")),
    ),
    (
        "Lots",
        "one lot, its label, its entries",
        (
            ("Lots", "lots"),
            ("Scan a label", "scan"),
            ("Where did it go", "where"),
            ("Labels", "labels"),
            ("Entries", "entries"),
        ),
    ),
    (
        "Stock",
        "what is there, counts, drying",
        (
            ("Stock by stage", "stock"),
            ("In store", "in-store"),
            ("Stock counts", "stock-counts"),
            ("Drying", "drying-runs"),
            ("Check weights", "check-weights"),
        ),
    ),
    (
        "Safety",
        "trace, recall, hold, records",
        (
            ("Trace a lot", "trace"),
            ("On hold", "holds"),
            ("Recalls", "recalls"),
            ("Trace drills", "drills"),
            ("Records", "records"),
            ("The binder", "binder"),
            ("Take away", "take-away"),
        ),
    ),
    (
        "Customers",
        "orders, round, invoices, who owes",
        (
            ("Orders", "orders"),
            ("Packing list", "packing-list"),
            ("Delivery round", "round"),
            ("Market days", "stall-days"),
            ("Shares", "shares"),
            ("Sales", "sales"),
            ("Invoices", "invoices"),
            ("Who owes what", "owed"),
            ("Payments", "payments"),
        ),
    ),
    (
        "Money",
        "month, costs, cost card, decisions",
        (
            ("A month", "month"),
            ("Bills", "bills"),
            ("Costs and decisions", "costs"),
            ("Cost card", "card"),
        ),
    ),
    (
        "Farm",
        "species, recipes, rooms, prices, people",
        (
            ("Farm details", "lookups"),
            ("The first hour", "first-hour"),
            ("Start workbook", "start-workbook"),
            ("Words", "glossary"),
        ),
    ),
)


@dataclass(frozen=True)
class Way:
    label: str
    address: str
    is_here: bool


@dataclass(frozen=True)
class Part:
    """A part of the site; ``address`` is its first way's, ``about`` says what is found in it."""

    label: str
    about: str
    ways: tuple[Way, ...]

    @property
    def address(self) -> str:
        return self.ways[0].address

    @property
    def is_here(self) -> bool:
        return any(way.is_here for way in self.ways)


def frame(request: HttpRequest) -> dict[str, object]:
    """Give every template `farm`, `person`, `may` and `ways`; at most two queries."""
    person = _person(request)
    return {
        "farm": getattr(request, "farm", None) or Farm.objects.first(),
        "person": person,
        "may": rights_of(person),
        "ways": ways_for(person, request.path) if person else [],
    }


def show(request: HttpRequest, template: str, shown: object, *, status: int = 200) -> HttpResponse:
    """Render a page from a frozen dataclass, whose fields are the template's names."""
    assert is_dataclass(shown), "a page declares its names in a dataclass"
    names = {field.name: getattr(shown, field.name) for field in fields(shown)}
    return render(request, template, names, status=status)


def rights_of(person: Person | None) -> dict[str, bool]:
    """Name each right and whether the person has it: `{% if may.record %}`."""
    return {right.name.lower(): person is not None and may(person, right) for right in Right}


def _person(request: HttpRequest) -> Person | None:
    """Who is entering; nobody where no page may be opened, or an error came before sign-in."""
    try:
        return person_of(request) if hasattr(request, "user") else None
    except PermissionDenied:
        return None


def ways_for(person: Person, path: str) -> list[Part]:
    """List the parts open to this person; the way they are on, the longest that fits, is marked."""
    open_to = [
        (label, about, [(word, _door(name)[0]) for word, name in ways if _lets_in(person, name)])
        for label, about, ways in PARTS
    ]
    leading = (at for _, _, ways in open_to for _, at in ways if _leads(at, path))
    here = max(leading, key=len, default=None)
    return [
        Part(label, about, tuple(Way(word, at, at == here) for word, at in ways))
        for label, about, ways in open_to
        if ways
    ]


def _lets_in(person: Person, name: str) -> bool:
    return any(may(person, right) for right in _door(name)[1])


@cache
def _door(name: str) -> tuple[str, tuple[Right, ...]]:
    """The address of a page, and the rights of which it asks for one."""
    address = reverse(name)
    rights: tuple[Right, ...] = resolve(address).func.__dict__["rights"]
    return address, rights


def _leads(address: str, path: str) -> bool:
    return path == address if address == "/" else path.startswith(address)
