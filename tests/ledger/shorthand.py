"""Short words for the entries that the tests write: `put(uses(lot, KG), makes(new, KG))`."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from ledger import book, checks
from ledger.book import Recorded
from ledger.drafts import ChargeDraft, Draft, LineDraft, MarkDraft, NewLot
from ledger.models import Entry, Flow, Item, Lot, Role

KG = 1_000_000
UNIT = 10_000  # one whole unit of the currency, in the book's money
DAY = timedelta(days=1)
NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def item(name: str = "sawdust", dimension: str = "mass", alike: str = "") -> Item:
    said = {"dimension": dimension, "alike": alike}
    return Item.objects.get_or_create(name=name, defaults=said)[0]


def new(name: str = "sawdust") -> NewLot:
    return NewLot(item(name))


def pieces(name: str = "block") -> NewLot:
    return NewLot(item(name, "count"), unit_mass_mg=2_268_000)


def line(lot: Lot | NewLot, role: Role, quantity: int, **numbers: Any) -> LineDraft:
    return LineDraft(lot, role, quantity, **numbers)


def buys(lot: Lot | NewLot, quantity: int, money: int) -> LineDraft:
    return line(lot, Role.BOUGHT, quantity, money=money)


def uses(lot: Lot, quantity: int) -> LineDraft:
    return line(lot, Role.USED, -quantity)


def makes(lot: Lot | NewLot, quantity: int, basis: int = 1, **numbers: Any) -> LineDraft:
    return line(lot, Role.MADE, quantity, basis=basis, **numbers)


def loses(lot: Lot | NewLot, quantity: int, **numbers: Any) -> LineDraft:
    return line(lot, Role.LOST, -quantity, **numbers)


def sells(lot: Lot, quantity: int) -> LineDraft:
    return line(lot, Role.SOLD, -quantity)


def draft(
    *lines: LineDraft,
    charges: tuple[ChargeDraft, ...] = (),
    marks: tuple[MarkDraft, ...] = (),
    reason: str = "",
    at: datetime = NOON,
    uuid: UUID | None = None,
    **particulars: Any,
) -> Draft:
    return Draft(
        kind="test",
        happened_at=at,
        happened_on=at.date(),
        by=1,
        uuid=uuid or uuid4(),
        lines=lines,
        charges=charges,
        marks=marks,
        reason=reason,
        particulars=particulars,
    )


def put(*lines: LineDraft, **stated: Any) -> Recorded:
    return book.record(draft(*lines, **stated))


def amend(entry: Entry, *lines: LineDraft, **stated: Any) -> Recorded:
    return book.amend(entry, draft(*lines, **stated))


def undo(entry: Entry) -> Recorded:
    return book.take_back(entry, draft())


def bought(quantity: int, money: int, name: str = "sawdust") -> Lot:
    return put(buys(new(name), quantity, money)).lots[0]


def bought_blocks(count: int, money: int) -> Lot:
    return put(buys(pieces(), count, money)).lots[0]


def made_of(lot: Lot, quantity: int, into: NewLot, made: int, **numbers: Any) -> Lot:
    """Use a quantity of one lot and make a new one of it."""
    return put(uses(lot, quantity), makes(into, made, **numbers)).lots[1]


def pick(block: Lot, given_mg: int, later_mg: int, **turn: int) -> Lot:
    """Pick a weight from a block lot, with so much still to come in later turns."""
    takes = line(block, Role.USED, 0, given_mg=given_mg, later_mg=later_mg, **turn)
    return put(takes, makes(new("oyster"), given_mg)).lots[1]


def spent(block: Lot, count: int) -> Entry:
    return put(loses(block, count, closes=1)).entry


def sold(lot: Lot, quantity: int) -> Entry:
    return put(sells(lot, quantity)).entry


def returned(sale: Entry, quantity: int) -> Entry:
    out = sale.lines.get()
    return put(line(out.lot, Role.BACK, quantity, returns=out)).entry


def held(lot: Lot, **stated: Any) -> Entry:
    return put(marks=(MarkDraft(lot, held=True),), **stated).entry


def released(lot: Lot) -> Entry:
    return put(marks=(MarkDraft(lot, held=False),)).entry


def moved(entry: Entry, lot: Lot, role: Role) -> int:
    """The materials that an entry moved out of (or into) a lot, without sign."""
    return abs(Flow.objects.get(entry=entry.place, lot=lot, role=role).materials)


def on_hand(lot: Lot) -> tuple[int, int]:
    """Quantity and materials on hand now."""
    return Lot.objects.values_list("quantity", "materials").get(pk=lot.pk)


def assert_book_is_sound() -> None:
    for check in checks.CHECKS:
        finding = check()
        assert not finding.broken, f"{finding.truth}: {finding.broken}"
