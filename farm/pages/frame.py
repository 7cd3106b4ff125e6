"""What surrounds every page: the farm's name, the person, the ways to go."""

from dataclasses import asdict, dataclass, fields, is_dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse

from farm.models.people import Farm, Person
from farm.pages.access import Right, may

# Label, name of the address, and the right without which the way is not offered.
WAYS = (
    ("Today", "today", Right.READ),
    ("Record", "record", Right.RECORD),
    ("Lots", "lots", Right.READ),
    ("Entries", "entries", Right.READ),
    ("Sales", "sales", Right.SEE_MONEY),
    ("Costs", "costs", Right.SEE_MONEY),
    ("Cost card", "card", Right.SEE_MONEY),
    ("Trace", "trace", Right.READ),
    ("Month", "month", Right.SEE_MONEY),
    ("Look-ups", "lookups", Right.READ),
)


@dataclass(frozen=True)
class Way:
    label: str
    address: str
    is_here: bool


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
    """List the ways open to this person, marking the one they are on."""
    ways = []
    for label, name, right in WAYS:
        try:
            address = reverse(name)
        except NoReverseMatch:
            continue  # the page is not built yet
        if may(person, right):
            is_here = path == address if address == "/" else path.startswith(address)
            ways.append(Way(label, address, is_here))
    return ways
