"""Weights, counts, money, shares and times as people read them; the one place for it."""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from decimal import Decimal

from django import template
from django.template import Context
from django.utils import timezone

from farm import habits
from farm.kinds import kind_named
from farm.kinds.growing import SPENT
from farm.kinds.particulars import Unit
from farm.kinds.selling import GIVE_AWAY
from farm.kinds.store import THROW_AWAY
from farm.models import Farm, Stage
from farm.queries.costs.costs import is_in_jars
from farm.queries.entries import Standing
from farm.queries.orders.allocations import SetAside
from farm.queries.orders.orders import Given
from farm.units import show_both, show_money, show_pressure, show_temperature
from ledger.models import Dimension, Lot

register = template.Library()

# What one piece of a counted lot is called, and many.
NOUNS: Mapping[int, tuple[str, str]] = {
    Stage.SUPPLY: ("piece", "pieces"),
    Stage.CULTURE: ("portion", "portions"),
    Stage.GRAIN: ("bag", "bags"),
    Stage.BAGS: ("bag", "bags"),
    Stage.BLOCKS: ("block", "blocks"),
    Stage.PACKS: ("pack", "packs"),
}
ROLES: Mapping[str, str] = {
    "bought": "received",
    "made": "made",
    "back": "came back",
    "counted": "counted up",
    "shrunk": "dried away as water",
    "lost": "lost",
    "used": "used up",
    "sold": "sold",
}
# What was done to a lot whose loss nobody would call one.
GONE = tuple(kind.done.lower() for kind in (SPENT, THROW_AWAY, GIVE_AWAY))
MINUS = "−"


@register.filter
def both(mass_mg: int, farm: Farm) -> str:
    """Show a weight in both systems, the farm's own first: “5.60 kg · 12.35 lb”."""
    return show_both(mass_mg, farm.weight_unit)


@register.filter
def money(amount: int, farm: Farm) -> str:
    return show_money(amount, farm.currency)


@register.filter
def percent(share_ppm: int) -> str:
    """Show parts per million as a percentage, to a tenth: 70,000 is “7 %”."""
    tenths = round(Decimal(share_ppm) / 1000)
    return habits.marked(f"{(Decimal(tenths) / 10).normalize():f}") + "\u00a0%"


@register.filter
def amount(lot: Lot, farm: Farm) -> str:
    """Show what a lot holds, in its own unit (the lot comes with its item and card)."""
    return amount_of(lot.quantity, lot, farm)


def amount_of(quantity: int, lot: Lot, farm: Farm) -> str:
    """Show a quantity of a lot: “38 blocks”, “5.60 kg · 12.35 lb”, “250 ml”."""
    sign, size = (MINUS if quantity < 0 else ""), abs(quantity)
    if lot.item.dimension == Dimension.MASS:
        return sign + show_both(size, farm.weight_unit)
    if lot.item.dimension == Dimension.VOLUME:
        return sign + habits.marked(f"{(Decimal(size) / 1000).normalize():f}") + " ml"
    one, many = noun_of(lot)
    return f"{sign}{size} {one if size == 1 else many}"


@register.simple_tag(takes_context=True)
def quantity_of(context: Context, lot: Lot, quantity: int) -> str:
    """Show so much of a lot, in its own unit."""
    return amount_of(quantity, lot, context["farm"])


def noun_of(lot: Lot) -> tuple[str, str]:
    """What one piece of a counted lot is called, and many: jars where the recipe takes jars."""
    one, many = NOUNS.get(stage_of(lot), ("piece", "pieces"))
    return ("jar", "jars") if one == "bag" and is_in_jars(lot) else (one, many)


@register.filter
def given(one: Given, farm: Farm) -> str:
    """Show what was given of a lot for an order."""
    return amount_of(one.quantity, one.lot, farm)


@register.filter
def aside(part: SetAside, farm: Farm) -> str:
    """Show how much of a lot is set aside."""
    return amount_of(part.quantity, part.lot, farm)


def stage_of(lot: Lot) -> int:
    card = getattr(lot, "card", None)
    return card.stage if card else 0


@register.filter
def quantity_now(line: Standing, farm: Farm) -> str:
    """Show what an entry says of a lot now; of picked blocks, the weight that they gave."""
    if not line.says_something:
        return amount_of(line.loaded, line.lot, farm) if line.loaded else ""
    return _quantity(line.lot, line.now, gave_mg=line.gave_now_mg, farm=farm)


@register.filter
def quantity_written(line: Standing, farm: Farm) -> str:
    """Show what an entry said of a lot before it was corrected."""
    return _quantity(line.lot, line.written, gave_mg=line.gave_written_mg, farm=farm)


@register.filter
def what(kind: str) -> str:
    """Name a kind of entry as its page does, where the two differ."""
    return kind_named(kind).called or kind


@register.filter
def role_words(line: Standing, named_as: str = "named") -> str:
    """Say what an entry did to a lot; ``named_as``: to one that a line without quantity names."""
    if line.gave_written_mg:
        return "gave"
    if not line.says_something or (line.role == "lost" and named_as in GONE):
        return named_as
    return ROLES[line.role]


def _quantity(lot: Lot, quantity: int, *, gave_mg: int, farm: Farm) -> str:
    if gave_mg:
        return show_both(gave_mg, farm.weight_unit)
    return amount_of(abs(quantity), lot, farm) if quantity else "nothing"


@register.filter
def day(when: date) -> str:
    """Show a day as “Sat 3 Oct 2026”."""
    return habits.day(when)


@register.filter
def moment(when: datetime) -> str:
    """Show an instant on the farm's clock: “Sat 3 Oct 2026, 07:40”."""
    return habits.moment(timezone.localtime(when))


def temperature_unit(farm: Farm) -> str:
    return "C" if farm.weight_unit == "kg" else "F"


def pressure_unit(farm: Farm) -> str:
    return "kPa" if farm.weight_unit == "kg" else "psi"


READINGS: Mapping[Unit, Callable[[int, Farm], str]] = {
    Unit.MG: lambda value, farm: show_both(value, farm.weight_unit),
    Unit.PPM: lambda value, farm: percent(value),
    Unit.MONEY: lambda value, farm: show_money(value, farm.currency),
    Unit.PA: lambda value, farm: show_pressure(value, pressure_unit(farm)),
    Unit.MILLI_C: lambda value, farm: show_temperature(value, temperature_unit(farm)),
    Unit.PERCENT: lambda value, farm: f"{value}\u00a0%",
    Unit.MM: lambda value, farm: f"{value} mm",
    Unit.MINUTES: lambda value, farm: f"{value} min",
    Unit.TO_ONE: lambda value, farm: f"{round(Decimal(value) / 1_000_000, 2)} to 1",
}


def reading(unit: Unit, value: object, farm: Farm) -> str:
    """Show one stated value in its unit."""
    if isinstance(value, list):
        return ", ".join(reading(unit, one, farm) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and unit in READINGS:
        return READINGS[unit](value, farm)
    return str(value)
