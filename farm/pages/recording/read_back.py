"""What was recorded, read back in plain words: what, how much, of which lot, what comes next."""

from collections.abc import Iterable, Iterator, Sequence

from farm.actions.common import Recorded
from farm.habits import day
from farm.kinds import kind_named
from farm.models import Farm, LoadLine, Person, Sale, Stage, StallDay
from farm.pages.access import Right, may, sees_stall_prices
from farm.pages.deeds import Deed
from farm.pages.fields import lot_name
from farm.queries.costs.costs import is_in_jars
from farm.templatetags.farm_format import amount_of
from farm.units import show_both, show_money
from ledger.models import Entry, Line, Lot, Role

NAMED = ("lot__item", "lot__card__strain__species")
GONE = (Role.SOLD, Role.BACK, Role.LOST)
# More lots than these are counted, not named.
MOST = 4


def said_of(deed: Deed, recorded: Recorded, farm: Farm, *, person: Person | None = None) -> str:
    """Say what was recorded: “Blocks inoculated: 38 blocks as lot K7M4Q. From 38 bags of lot …”.

    ``person``: who reads it, and may see what it was sold for and to whom; else neither is said.
    """
    entry = recorded.entry
    lines = list(entry.lines.select_related(*NAMED).order_by("pk"))
    told = (deed.read_back or amounts)(entry, lines, farm)
    sentences = [f"{deed.kind.done}: {told}"]
    if not deed.read_back:
        sentences += _beside(entry, lines, farm=farm)
    sentences += [*_money(entry, farm, person), *_why(entry)]
    if deed.kind.then:
        sentences.append(f"Next: {deed.kind.then}")
    held = [line.lot.code for line in made_lines(lines) if line.lot.held]
    if held:
        sentences.append(f"Made of a lot on hold, so on hold too: {', '.join(held)}")
    if not recorded.fresh:
        sentences.append("It had been recorded before; nothing was written twice")
    return " ".join(f"{said}." for said in sentences)


# --- what, and how much ----------------------------------------------------------------------


def amounts(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    """Say how much was made, else how much went, came back or was loaded, else what is there."""
    made = made_lines(lines)
    if made:
        return ", ".join(
            f"{amount_of(line.quantity, line.lot, farm)}{_grade(line.lot)} as lot {line.lot.code}"
            for line in made
        )
    parts = [
        (abs(line.quantity), line.lot) for line in lines if line.role in GONE and line.quantity
    ]
    loads = LoadLine.objects.filter(stall_day__entry=entry).select_related("lot__item", "lot__card")
    parts += [(load.quantity, load.lot) for load in loads]
    if parts:
        return ", ".join(f"{amount_of(size, lot, farm)} of lot {lot.code}" for size, lot in parts)
    marks = entry.marks.select_related("lot__item", "lot__card")
    lots = {line.lot_id: line.lot for line in lines} | {mark.lot_id: mark.lot for mark in marks}
    return ", ".join(
        f"lot {lot.code}, {amount_of(lot.quantity, lot, farm)}" for lot in lots.values()
    )


# --- of what, where, for how much, and why ---------------------------------------------------


def _beside(entry: Entry, lines: Sequence[Line], *, farm: Farm) -> Iterator[str]:
    """Say of what it was made, and where it was put or is taken."""
    made = made_lines(lines)
    if made:
        if len(made) == 1:
            yield _capital(lot_name(made[0].lot))
        used = [line for line in lines if line.role == Role.USED]
        if used:
            yield f"From {_listed(used, farm)}"
    placing = entry.placings.select_related("shelf__room").first()
    if placing:
        yield f"On {placing.shelf}"
    load = StallDay.objects.filter(entry=entry).select_related("place").first()
    if load:
        yield f"For {load.place}, {day(load.day)}"


def _listed(used: Sequence[Line], farm: Farm) -> str:
    if len(used) > MOST:
        return f"{len(used)} lots"
    return ", ".join(f"{_taken(line, farm)} of lot {line.lot.code}" for line in used)


def _taken(line: Line, farm: Farm) -> str:
    if line.given_mg:
        return mass(line.given_mg, farm)
    return amount_of(-line.quantity, line.lot, farm)


def _money(entry: Entry, farm: Farm, person: Person | None) -> Iterator[str]:
    sale = Sale.objects.filter(entry=entry).select_related("place", "customer").first()
    if sale is None:
        return
    to = f"To {sale.customer}" if sale.customer and person and may(person, Right.SEE_ORDERS) else ""
    gross = sum(sale.lines.filter(line__entry=entry).values_list("gross", flat=True))
    money = show_money(gross, farm.currency) if person and sees_stall_prices(person) else ""
    yield ", ".join(said for said in (to or f"At {sale.place}", money) if said)


def _why(entry: Entry) -> Iterable[str]:
    return (
        [f"Why: {entry.reason.rstrip('.')}"]
        if kind_named(entry.kind).caused and entry.reason
        else []
    )


# --- words -----------------------------------------------------------------------------------


def made_lines(lines: Iterable[Line]) -> list[Line]:
    return [line for line in lines if line.role in (Role.MADE, Role.BOUGHT) and line.quantity]


def _grade(lot: Lot) -> str:
    card = getattr(lot, "card", None)
    return f" {card.get_grade_display()}" if card and card.grade else ""


def pieces(count: int, lot: Lot) -> str:
    """Count what a check counts: bags or jars where the lot itself is weighed."""
    if lot.card.stage != Stage.SPAWN:
        noun = "block" if lot.card.stage == Stage.BLOCKS else "pack"
    else:
        noun = "jar" if is_in_jars(lot) else "bag"
    return f"{count} {noun}{'' if count == 1 else 's'}"


def mass(mass_mg: int, farm: Farm) -> str:
    return show_both(mass_mg, farm.weight_unit)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
