"""What surrounds every page: the farm's name, the person, the ways to go."""

from dataclasses import asdict, dataclass, fields, is_dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from farm.models.people import Farm, Person
from farm.pages.access import Right, may

# The ways of the site, the first of each being its head: label, name of the address, and the
# right without which the way is not offered.
WAYS = (
    (
        ("Today", "today", Right.READ),
        ("What is due", "calendar", Right.READ),
    ),
    (
        ("Record", "record", Right.RECORD),
        ("Unfinished", "unfinished", Right.RECORD),
    ),
    (
        ("Lots", "lots", Right.READ),
        ("Stock", "stock", Right.READ),
        ("Entries", "entries", Right.READ),
        ("Labels", "labels", Right.READ),
    ),
    (
        ("Costs", "costs", Right.SEE_MONEY),
        ("Cost card", "card", Right.SEE_MONEY),
        ("Decisions", "decisions", Right.SEE_MONEY),
        ("Did cards come true", "card-scores", Right.SEE_MONEY),
        ("Against plan", "against-plan", Right.SEE_MONEY),
    ),
    (
        ("Trace", "trace", Right.READ),
        ("Whole reach", "reach", Right.READ),
        ("On hold", "holds", Right.READ),
        ("Recalls", "recalls", Right.READ),
        ("Drills", "drills", Right.READ),
        ("Key data", "key-data", Right.READ),
        ("Events", "events", Right.READ),
    ),
    (
        ("Month", "month", Right.SEE_MONEY),
        ("Orders", "orders", Right.READ),
        ("Delivery round", "round", Right.READ),
        ("Sales", "sales", Right.SEE_MONEY),
        ("Invoices", "invoices", Right.SEE_MONEY),
        ("Who owes what", "owed", Right.SEE_MONEY),
        ("Payments", "payments", Right.SEE_MONEY),
        ("Bills", "bills", Right.SEE_MONEY),
    ),
    (("Records", "records", Right.READ),),
    (("Look-ups", "lookups", Right.READ),),
)


@dataclass(frozen=True)
class Way:
    """A way of the site; ``under`` are the further ways of the part that one is in."""

    label: str
    address: str
    is_here: bool
    under: tuple["Way", ...] = ()


@dataclass(frozen=True)
class May:
    """The person's rights, for templates: `{% if may.record %}`."""

    read: bool = False
    record: bool = False
    see_money: bool = False
    change_farm: bool = False


def frame(request: HttpRequest) -> dict[str, object]:
    """Give every template `farm`, `person`, `may` and `ways`; at most two queries."""
    person = getattr(getattr(request, "user", None), "person", None)
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


def rights_of(person: Person | None) -> May:
    if person is None:
        return May()
    return May(**{name: may(person, Right[name.upper()]) for name in asdict(May())})


def ways_for(person: Person, path: str) -> list[Way]:
    """List the ways open to this person; the one they are on is marked, and opened."""
    parts = []
    for rows in WAYS:
        addresses = [(label, reverse(name)) for label, name, right in rows if may(person, right)]
        if not addresses:
            continue
        here = max((a for _, a in addresses if _leads(a, path)), key=len, default=None)
        under = tuple(Way(label, address, address == here) for label, address in addresses)
        label, address = addresses[0]
        parts.append(
            Way(label, address, here is not None, under if here and len(under) > 1 else ())
        )
    return parts


def _leads(address: str, path: str) -> bool:
    return path == address if address == "/" else path.startswith(address)
