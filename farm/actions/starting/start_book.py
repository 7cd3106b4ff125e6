"""Read a starting workbook into the book, all of it or nothing, and take it back as a whole.

Every row of stock becomes an entry of its own through the same `record` as everything else, so
that cost, trace and undo work from the first day. Look-ups that are there already stay as they
are, and stay when the entries are taken back.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from uuid import uuid5

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from farm import habits
from farm.actions.common import ANSWER, Doing, item_for
from farm.actions.orders.orders import Days, Wanted, stop_order, take_order
from farm.actions.questions import PlausibilityQuestion, answered
from farm.actions.recording.correcting import undo
from farm.actions.relisting import keep_up
from farm.actions.selling.selling import Deal, SoldLine, post_sale
from farm.actions.starting.start_lookups import Known, write_lookups
from farm.kinds.kind import Kind
from farm.kinds.selling import SELL
from farm.kinds.starting import OPENING_STOCK, FromWorkbook
from farm.kinds.store import THROW_AWAY
from farm.models import Grade, LotCard, Order, Stage, StartWorkbook, the_farm
from farm.queries.orders.orders import standing_notes
from farm.queries.starting.start_books import (
    order_uuid,
    read_in_of,
    standing_entries,
    standing_orders,
)
from farm.start_book.reading import Filled, Problem, Row
from ledger import book
from ledger.drafts import Draft, LineDraft, NewLot
from ledger.errors import Conflict
from ledger.models import Dimension, Item, Lot, Role

UNKNOWN = "before the book began; what became of the rest is not known"
NOON = time(12)


@dataclass
class _Beginning:
    """What is under way: whose, which look-ups, and the cards waiting to be written."""

    doing: Doing
    known: Known
    weight_unit: str  # of the prices of what is loose
    cards: list[LotCard] = field(default_factory=list)
    marked: dict[str, Lot] = field(default_factory=dict)
    items: dict[tuple[str, str], Item] = field(default_factory=dict)

    def item(self, name: str, stage: Stage, dimension: str = Dimension.MASS) -> Item:
        """Find an item once, however many rows are of it."""
        key = (name, dimension)
        if key not in self.items:
            self.items[key] = item_for(name, dimension, stage=stage)
        return self.items[key]


@transaction.atomic
def read_in(doing: Doing, filled: Filled, *, name: str, sha256: str) -> StartWorkbook:
    """Record a workbook without problems: one entry a row, in one transaction under one lock.

    Sent again it returns what was read in. A file that stands read in already is a Conflict.
    What was picked last season and not sold on the sheet is written off. What is doubtful in a
    row is asked, unless ``doing.sure``, and kept with the entry of that row.
    """
    assert not filled.problems, "a workbook with problems is not read in"
    head = book.lock_head()
    before = StartWorkbook.objects.filter(uuid=doing.uuid).first()
    if before:
        return before
    _refuse_a_second_time(sha256)
    answered(doing, *map(_question, filled.questions))
    first = head.seq + 1
    unit = the_farm().weight_unit
    beginning = _Beginning(doing, write_lookups(filled, unit), unit)
    for row, line, card in _openings(beginning, filled):
        _open(beginning, row, line=line, card=card)
    LotCard.objects.bulk_create(beginning.cards, batch_size=500)
    _sell(beginning, filled.rows["sales"])
    _write_off(beginning, filled.rows["picks"])
    _take_orders(beginning, filled.rows["orders"])
    keep_up(doing, after=first - 1)
    return StartWorkbook.objects.create(
        uuid=doing.uuid,
        name=name[:120],
        sha256=sha256,
        read_at=timezone.now(),
        by=doing.by,
        first_seq=first,
        last_seq=book.lock_head().seq,
    )


@transaction.atomic
def take_out(doing: Doing, workbook: StartWorkbook) -> int:
    """Take back every entry of a workbook that stands, newest first, and call its orders off.

    Returns how many. Refuses (NotEnough, Conflict) while something later needs an entry or one of
    the orders was delivered, and then takes nothing back.
    """
    book.lock_head()
    orders, entries = standing_orders(workbook), standing_entries(workbook).order_by("-seq")
    count = len(orders) + len(entries)
    _refuse_delivered(orders)
    for order in orders:
        reason = doing.reason.strip() or f"{workbook} was taken back"
        stop_order(replace(doing, reason=reason), order, from_day=order.due_on)
    for entry in entries:
        undo(replace(doing, uuid=uuid5(doing.uuid, str(entry.seq))), entry)
    return count


def _question(one: Problem) -> PlausibilityQuestion:
    return PlausibilityQuestion(f"{one.sheet}, row {one.row}, {one.column}: {one.words}")


def _refuse_delivered(orders: QuerySet[Order]) -> None:
    note = standing_notes().filter(order__in=orders).first()
    if note:
        raise Conflict(
            f"Order {note.order_id} was delivered for {habits.day(note.due_on)}. Take that "
            "delivery back first."
        )


def _refuse_a_second_time(sha256: str) -> None:
    for known in StartWorkbook.objects.filter(sha256=sha256):
        if read_in_of(known).stands:
            raise Conflict(
                f"This very file, “{known.name}”, was read in on {habits.day(known.read_at)}, and "
                "stands. Take it back first."
            )


# --- stock -----------------------------------------------------------------------------------


def _openings(beginning: _Beginning, filled: Filled) -> Iterator[tuple[Row, LineDraft, LotCard]]:
    """Say of each row of stock what the book and what the farm's card state."""
    for row in filled.rows["supplies"]:
        yield (row, *_supply(beginning, row))
    for row in filled.rows["growing"]:
        yield (row, *_growing(beginning, row))
    for row in filled.rows["stock"]:
        yield (row, *_crop(beginning, row, dried=row["what"] == "dried"))
    for row in filled.rows["picks"]:
        yield (row, *_crop(beginning, row, dried=False))


def _supply(beginning: _Beginning, row: Row) -> tuple[LineDraft, LotCard]:
    supply = beginning.known.supplies[row["supply"]]
    counted = supply.item.dimension == Dimension.COUNT
    lot = NewLot(supply.item, unit_mass_mg=max(supply.piece_mg, 1) if counted else None)
    card = LotCard(
        stage=Stage.SUPPLY,
        supplier=beginning.known.suppliers.get(row["supplier"]),
        supplier_lot=row["supplier_lot"] or "",
        best_before=row["best_before"],
    )
    return _bought(lot, row["quantity"], row["cost_money"]), card


def _growing(beginning: _Beginning, row: Row) -> tuple[LineDraft, LotCard]:
    strain = beginning.known.strains[row["strain"]]
    if row["what"] == "blocks":
        item, stage = (
            beginning.item(f"Blocks, {strain}", Stage.BLOCKS, Dimension.COUNT),
            Stage.BLOCKS,
        )
        lot = NewLot(item, unit_mass_mg=row["piece_mg"])
    else:
        lot, stage = NewLot(beginning.item(f"Grain spawn, {strain}", Stage.SPAWN)), Stage.SPAWN
    card = LotCard(stage=stage, strain=strain, species=strain.species)
    return _bought(lot, row["quantity"], row["cost_money"]), card


def _crop(beginning: _Beginning, row: Row, *, dried: bool) -> tuple[LineDraft, LotCard]:
    strain = beginning.known.strains[row["strain"]]
    grade = Grade(row["grade"] or Grade.FIRSTS)
    name = f"Dried {strain.species}" if dried else f"Fresh {strain.species.name}, {grade.label}"
    stage = Stage.DRIED if dried else Stage.CROP
    card = LotCard(
        stage=stage,
        strain=strain,
        species=strain.species,
        grade="" if dried else grade,
        harvested_on=row["day"],
    )
    return _bought(NewLot(beginning.item(name, stage)), row["mass_mg"], row["cost_money"]), card


def _bought(lot: NewLot, quantity: int, cost_money: int) -> LineDraft:
    return LineDraft(lot, Role.BOUGHT, quantity, money=cost_money)


def _open(beginning: _Beginning, row: Row, *, line: LineDraft, card: LotCard) -> None:
    """Record a row of stock; its card waits, so that all are written at once."""
    lot = book.record(_draft(beginning, row, lines=[line])).lots[0]
    card.lot = lot
    beginning.cards.append(card)
    if row.sheet.key == "picks":
        beginning.marked[row["mark"]] = lot


def _draft(
    beginning: _Beginning,
    row: Row,
    *,
    lines: Sequence[LineDraft],
    kind: Kind = OPENING_STOCK,
    reason: str = "",
    day: date | None = None,
) -> Draft:
    on = day or row["day"]
    said = FromWorkbook(
        sheet=row.sheet.title,
        row=row.number,
        asked=" ".join(row.asked),
        answer=ANSWER if row.asked else "",
    )
    return Draft(
        kind=kind,
        happened_at=_noon(on),
        happened_on=on,
        by=beginning.doing.by.pk,
        uuid=uuid5(beginning.doing.uuid, f"{row.sheet.key} {row.number} {kind}"),
        lines=tuple(lines),
        reason=reason,
        particulars=said.written(),
    )


def _noon(day: date) -> datetime:
    """Noon on the farm's clock: no hour is known."""
    return datetime.combine(day, NOON, tzinfo=timezone.get_current_timezone())


# --- last season -----------------------------------------------------------------------------


def _sell(beginning: _Beginning, rows: Sequence[Row]) -> None:
    """Record last season's sales as sales, which nobody doubts any more.

    No hours are known, so none are charged.
    """
    known = beginning.known
    for row in sorted(rows, key=lambda row: (row["day"], row.number)):
        doing = replace(
            beginning.doing,
            uuid=uuid5(beginning.doing.uuid, f"sales {row.number}"),
            happened_at=_noon(row["day"]),
            asked=" ".join(row.asked),
        )
        line = SoldLine(beginning.marked[row["mark"]], row["mass_mg"], row["kg_money"])
        deal = Deal(known.places[row["place"]], known.customers.get(row["customer"]))
        post_sale(doing, SELL, deal, lines=[line])


def _write_off(beginning: _Beginning, rows: Sequence[Row]) -> None:
    """Take out what was not sold of last season's picks, on the day of the last sale of each."""
    for row in rows:
        lot = Lot.objects.get(pk=beginning.marked[row["mark"]].pk)
        if lot.quantity:
            entry = lot.lines.select_related("entry").order_by("pk").last()
            assert entry
            line = LineDraft(lot, Role.LOST, -lot.quantity)
            book.record(
                _draft(
                    beginning,
                    row,
                    lines=[line],
                    kind=THROW_AWAY,
                    reason=UNKNOWN,
                    day=entry.entry.happened_on,
                )
            )


# --- what is promised ------------------------------------------------------------------------


def _take_orders(beginning: _Beginning, rows: Sequence[Row]) -> None:
    """Take each customer's order of a day and rhythm; what was promised is not doubted here."""
    orders: dict[tuple[str, date, int], list[Row]] = {}
    for row in rows:
        key = (row["customer"], row["due_on"], int(row["often"] or 0))
        orders.setdefault(key, []).append(row)
    known = beginning.known
    for at, ((customer, due_on, weeks), asked) in enumerate(orders.items()):
        uuid = order_uuid(beginning.doing.uuid, at)
        take_order(
            replace(beginning.doing, uuid=uuid, sure=True, reason=""),
            customer=known.customers[customer],
            days=Days(due_on, weeks),
            lines=[
                Wanted(
                    known.wanted[row["wanted"]],
                    row["quantity"],
                    row["unit_money"],
                    beginning.weight_unit,
                )
                for row in asked
            ],
        )
