"""The events that one version of an entry comes to, by what its lines do to their lots."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from farm.exchange import steps
from farm.exchange.amounts import amount, own, readings, shared_facts, weight
from farm.exchange.names import Names
from farm.exchange.told import Stated, Told, Version
from farm.kinds import kind_named
from farm.kinds.growing import Checked, Run
from farm.kinds.kind import COUNTED, Kind, Step
from farm.kinds.store import WEIGH_AGAIN, Weighing
from farm.kinds.tracing import HOLD, RELEASE
from farm.queries.months.reconciliation import FOUND_MISSING
from ledger.models import Lot, Role

Event = dict[str, Any]
Amounts = list[dict[str, Any]]


@dataclass(frozen=True)
class Happening:
    told: Told
    names: Names

    @property
    def kind(self) -> Kind:
        return kind_named(self.told.root.kind)


def parts_of(happening: Happening, version: Version) -> dict[str, Event]:
    """Say what a version did, part by part; the names of parts stay through corrections."""
    found = {name: part(happening, version.lines) for name, part in PARTS.items()}
    parts = {name: event for name, event in found.items() if event}
    return parts | _marked(happening)


def _received(happening: Happening, lines: Iterable[Stated]) -> Event:
    bought = _moved(lines, Role.BOUGHT)
    suppliers = {line.lot.card.supplier for line in bought} - {None}
    source = [
        {"type": "possessing_party", "source": happening.names.supplier(supplier)}
        for supplier in suppliers
        if supplier
    ]
    event = _object(happening, bought, action="ADD", step=steps.RECEIVED)
    return _with(event, ilmd=shared_facts(line.lot for line in bought), sourceList=source)


def _came_back(happening: Happening, lines: Iterable[Stated]) -> Event:
    event = _object(happening, _moved(lines, Role.BACK), action="OBSERVE", step=steps.RETURNED)
    return _with(event, sourceList=_party(happening, "source"), **_record(happening))


def _counted_up(happening: Happening, lines: Iterable[Stated]) -> Event:
    return _object(happening, _moved(lines, Role.COUNTED), action="ADD", step=COUNTED)


def _made(happening: Happening, lines: Iterable[Stated]) -> Event:
    """What went in and what came out. Picked blocks stay: they go in with the weight they gave.

    The book refuses that something is used and nothing made, so there is always an outcome.
    """
    names = happening.names
    used = [
        _went_in(names, line)
        for line in lines
        if line.role == Role.USED and (line.given_mg or line.quantity or line.basis)
    ]
    made = _moved(lines, Role.MADE)
    if not used and not made:
        return {}
    if not used:
        event = _object(happening, made, action="ADD", step=happening.kind.made)
        return _with(event, ilmd=shared_facts(line.lot for line in made))
    event = {"type": "TransformationEvent", "inputQuantityList": used}
    event |= happening.kind.made.words() | _where(happening, made)
    return _with(
        event,
        outputQuantityList=[amount(names, line.lot, line.quantity) for line in made],
        ilmd=shared_facts(line.lot for line in made),
        sensorElementList=readings(happening.told.particulars),
        **_seen_percent(happening),
    )


def _went_in(names: Names, line: Stated) -> dict[str, Any]:
    """Say what was used: picked blocks with the weight they gave, spent ones without a number."""
    if line.given_mg:
        return weight(names, line.lot, line.given_mg)
    return amount(names, line.lot, -line.quantity or None)


def _dried_out(happening: Happening, lines: Iterable[Stated]) -> Event:
    event = _object(happening, _moved(lines, Role.SHRUNK), action="DELETE", step=COUNTED)
    return _with(event, **{own("cause"): "water"})


def _lost(happening: Happening, lines: Iterable[Stated]) -> Event:
    lost = _moved(lines, Role.LOST)
    given = happening.told.given_as
    if given:
        event = _object(happening, lost, action="DELETE", step=steps.GIVEN)
        return _with(event, **{"readPoint": _read_point(happening), own("cause"): given})
    step = steps.MISSED if happening.kind in FOUND_MISSING else steps.DESTROYED
    return _object(happening, lost, action="DELETE", step=step)


def _sold(happening: Happening, lines: Iterable[Stated]) -> Event:
    """A named customer is shipped to; who buys at a stall is not known, and the goods are gone."""
    sold = _moved(lines, Role.SOLD)
    party = _party(happening, "destination")
    if party:
        event = _object(happening, sold, action="OBSERVE", step=steps.SHIPPED)
        return _with(event, destinationList=party, **_record(happening))
    event = _object(happening, sold, action="DELETE", step=steps.RETAILED)
    return _with(event, readPoint=_read_point(happening), **_record(happening))


def _seen(happening: Happening, lines: Iterable[Stated]) -> Event:
    """What was looked at or treated whole: a run, a check, a move, a weighing, a stall's load."""
    seen = [
        line
        for line in lines
        if line.role in (Role.MADE, Role.COUNTED) and not line.quantity and not line.given_mg
    ]
    if happening.kind == WEIGH_AGAIN:
        return _weighed(happening, lines)
    if happening.told.loaded:
        return _loaded(happening, lines)
    event = _object(happening, seen, action="OBSERVE", step=happening.kind.seen, whole=True)
    said = happening.told.particulars
    more = {
        own("steriliser"): said.steriliser if isinstance(said, Run) else None,
        **_seen_percent(happening),
    }
    return _with(event, sensorElementList=readings(said), **more)


def _weighed(happening: Happening, lines: Iterable[Stated]) -> Event:
    """State the weight found: what the book held, less what was found missing."""
    lot = next(line.lot for line in lines)
    book_mg = Weighing.read(happening.told.root.particulars).book_mg
    found_mg = book_mg + sum(line.quantity for line in lines)
    event = _event("OBSERVE", COUNTED, [weight(happening.names, lot, found_mg)])
    return event | _where(happening, [])


def _loaded(happening: Happening, lines: Iterable[Stated]) -> Event:
    """State what a stall took along, or, once it is settled, what it brought back.

    What was given away there did not come back, as what was sold did not.
    """
    left = dict(happening.told.loaded)
    for lot, given in happening.told.given.items():
        left[lot] = left.get(lot, 0) - given
    for line in lines:
        if line.role == Role.SOLD:
            left[line.lot.pk] += line.quantity
    lots = {line.lot.pk: line.lot for line in lines}
    amounts = [amount(happening.names, lots[pk], rest) for pk, rest in left.items() if rest > 0]
    event = _event("OBSERVE", happening.kind.seen, amounts)
    if not event or happening.told.sale or not happening.told.place:
        return _with(event, **_where(happening, [])) if event else {}
    stall = {"type": "location", "destination": happening.names.place(happening.told.place)}
    return event | _where(happening, []) | {"destinationList": [stall]}


def _marked(happening: Happening) -> dict[str, Event]:
    """Holds and releases; what was picked from held blocks is held from its birth on."""
    parts: dict[str, Event] = {}
    for name, held in ((HOLD, True), (RELEASE, False)):
        lots = [mark.lot for mark in happening.told.marks if mark.held is held]
        if lots:
            parts[name] = _mark(happening, lots, held=held)
    return parts


def _mark(happening: Happening, lots: list[Lot], *, held: bool) -> Event:
    step = steps.HELD if held else steps.RELEASED
    amounts = [amount(happening.names, lot) for lot in lots]
    change = {"set" if held else "unset": [steps.HELD.disposition]}
    return (
        _event("OBSERVE", step, amounts) | _where(happening, []) | {"persistentDisposition": change}
    )


PARTS: dict[str, Callable[[Happening, tuple[Stated, ...]], Event]] = {
    "received": _received,
    "came back": _came_back,
    "counted": _counted_up,
    "made": _made,
    "seen": _seen,
    "dried out": _dried_out,
    "lost": _lost,
    "sold": _sold,
}


# --- what the parts are made of --------------------------------------------------------------


def _moved(lines: Iterable[Stated], role: str) -> list[Stated]:
    return [line for line in lines if line.role == role and line.quantity]


def _object(
    happening: Happening,
    lines: list[Stated],
    *,
    action: str,
    step: Step,
    whole: bool = False,
) -> Event:
    """An object event about some lines, or nothing where there are none."""
    amounts = [
        amount(happening.names, line.lot, None if whole else abs(line.quantity)) for line in lines
    ]
    event = _event(action, step, amounts)
    return event | _where(happening, lines) if event else {}


def _event(action: str, step: Step, amounts: Amounts) -> Event:
    if not amounts:
        return {}
    return {"type": "ObjectEvent", "action": action, "quantityList": amounts, **step.words()}


def _with(event: Event, **more: Any) -> Event:
    """Add what is known, to an event that is there at all."""
    known = {name: value for name, value in more.items() if value not in (None, "", [], {})}
    return event | known if event else {}


def _where(happening: Happening, lines: Iterable[Stated]) -> Event:
    """Where it happened, and on which shelf the lots stand after it, if on one."""
    where: Event = {"readPoint": {"id": happening.names.farm()}}
    shelves = {happening.told.shelves.get(line.lot.pk) for line in lines}
    shelf = shelves.pop() if len(shelves) == 1 else None
    return where | {"bizLocation": {"id": happening.names.shelf(shelf)}} if shelf else where


def _read_point(happening: Happening) -> Event:
    place = happening.told.place
    return {"id": happening.names.place(place)} if place else {"id": happening.names.farm()}


def _party(happening: Happening, side: str) -> Amounts:
    customer = happening.told.sale.customer if happening.told.sale else None
    if customer is None:
        return []
    return [{"type": "owning_party", side: happening.names.customer(customer)}]


def _record(happening: Happening) -> Event:
    """The farm's record of a sale stands for its paper; of no type that the standard knows."""
    sale = happening.told.sale
    entry = sale.entry_id if sale else happening.told.root.seq
    return {"bizTransactionList": [{"bizTransaction": happening.names.entry(entry)}]}


def _seen_percent(happening: Happening) -> Event:
    said = happening.told.particulars
    return {own("colonisedPercent"): said.colonised_percent} if isinstance(said, Checked) else {}
