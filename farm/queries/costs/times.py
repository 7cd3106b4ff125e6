"""How long things usually take."""

from farm.kinds.kind import Kind
from farm.kinds.selling import SELL, SETTLE_STALL
from farm.models import PlaceKind, SellingPlace, StandardTime


def usual_time(kind: Kind, place: SellingPlace | None = None) -> str:
    """Say in words what is charged where no minutes are typed; empty where none is known."""
    minutes = place_minutes(place, kind) if place else None
    if minutes == 0:
        return "none, as the stall's hours are charged when its day is settled"
    if minutes:
        return f"the usual time of {place}, {minutes} min"
    usual = StandardTime.objects.filter(action=kind).first()
    if usual is None:
        return ""
    return f"the standard time, {in_words(usual)}"


def in_words(usual: StandardTime) -> str:
    """Say a standard time: “5 min and 30 s for each”, each bag, block, pack or kilogram."""
    each = f" and {usual.unit_seconds} s for each" if usual.unit_seconds else ""
    return f"{usual.minutes} min{each}"


def place_minutes(place: SellingPlace, kind: Kind) -> int | None:
    """The usual minutes of selling at a place; None: the standard time of the action.

    A sale at a stall takes none of its own: settling the day charges the whole of it.
    """
    if kind == SELL and place.kind == PlaceKind.STALL:
        return 0
    return place.day_minutes or None if kind in (SELL, SETTLE_STALL) else None
