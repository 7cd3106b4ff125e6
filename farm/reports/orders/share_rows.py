"""Shares as rows: what is held for whom, one share box by box, and the receipt of a deposit."""

from collections.abc import Iterable, Sequence
from datetime import date

from farm import habits
from farm.models import Farm, Payment
from farm.queries.orders.orders import DueOrder
from farm.queries.orders.shares import ShareState
from farm.reports.accounts.papers import Paper
from farm.reports.report_heading import Made
from farm.reports.rows import (
    Column,
    Fact,
    Kind,
    Report,
    Row,
    Table,
    total_row,
    without_empty,
)

BACK, LEFT, NO_MORE = "Paid back", "Left to the farm", "Paid back or left"
SHARES = (
    Column("Member"), Column("Share", Kind.COUNT), Column("Boxes", Kind.COUNT),
    Column("Delivered", Kind.COUNT), Column("Left", Kind.COUNT), Column("Paid", Kind.MONEY),
    Column(NO_MORE, Kind.MONEY), Column("Delivered for", Kind.MONEY), Column("Held", Kind.MONEY),
    Column("Still to pay", Kind.MONEY), Column("Worth, of price", Kind.RATIO),
    Column("Species", Kind.COUNT),
)  # fmt: skip
BOXES = (
    Column("Day", Kind.DATE), Column("Note"), Column("In it"), Column("Box price", Kind.MONEY),
    Column("Worth that day", Kind.MONEY), Column("Worth, of its price", Kind.RATIO),
    Column("Held after it", Kind.MONEY), Column("Not collected"),
)  # fmt: skip
PAID = (
    Column("Day", Kind.DATE), Column("What"), Column("How"), Column("Paid", Kind.MONEY),
    Column("Note"),
)  # fmt: skip
TO_COME = (Column("Day", Kind.DATE), Column("State"), Column("Usually in it"))
SPECIES = (Column("Species"), Column("Boxes with it", Kind.COUNT), Column("Of boxes", Kind.COUNT))
HELD_NOTE = (
    "What was paid for boxes that are not delivered yet is owed to the members: it is no income. "
    "Each box takes its price of it; below zero, boxes were given that are not paid yet."
)
WORTH_NOTE = "Worth: the goods at the prices of their day, tax in it, beside what the box costs."
TAX_WORDS = (
    "This is a receipt for money paid ahead, and no invoice. Tax is stated at each delivery, where "
    "the goods are sold; where your country taxes money paid ahead, ask your adviser."
)


def shares_report(states: Sequence[ShareState], day: date, made: Made) -> Report:
    columns, rows = without_empty(SHARES, [_share_row(one) for one in states], NO_MORE)
    summed = {"Paid", NO_MORE, "Delivered for", "Held", "Still to pay"}
    return Report(
        title="Shares",
        subtitle=f"at the end of {habits.day(day)}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact(
                "Deposits held: owed to members",
                sum(max(0, one.held) for one in states),
                Kind.MONEY,
            ),
            Fact(
                "Boxes given and not paid yet", sum(max(0, -one.held) for one in states), Kind.MONEY
            ),
            Fact("Boxes left uncollected", sum(one.uncollected for one in states), Kind.COUNT),
        ),
        tables=(
            Table(
                "By member",
                columns,
                rows,
                total_row(columns, rows, summed),
                note=f"{HELD_NOTE} {WORTH_NOTE}",
            ),
        ),
        currency=made.currency,
    )


def share_report(
    state: ShareState,
    *,
    payments: Iterable[Payment],
    to_come: Sequence[DueOrder],
    next_species: Sequence[str],
    made: Made,
) -> Report:
    """One share: what was paid, box by box what was delivered, what is owed, and what comes."""
    share = state.share
    paid: tuple[Row, ...] = tuple(
        (one.paid_on, _what(one), one.get_method_display(), one.amount_money, one.note)
        for one in payments
    )
    species: tuple[Row, ...] = tuple(
        (name, count, len(state.boxes)) for name, count in state.species.most_common()
    )
    come: tuple[Row, ...] = tuple((one.day, one.state.value, one.in_words) for one in to_come)
    return Report(
        title=f"Share {share.pk}",
        subtitle=f"{share.customer}: {share.boxes} boxes, {share.order.how_often}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Price of a box", share.box_money, Kind.MONEY),
            Fact("Promised together", share.promised_money, Kind.MONEY),
            Fact("Paid", state.paid, Kind.MONEY),
            *((Fact(BACK, state.paid_back, Kind.MONEY),) * bool(state.paid_back)),
            *((Fact(LEFT, state.left, Kind.MONEY),) * bool(state.left)),
            Fact("Delivered for", state.delivered, Kind.MONEY),
            Fact("Held: owed to the member", state.held, Kind.MONEY),
            Fact("Still to pay", state.still_to_pay, Kind.MONEY),
            Fact("Boxes delivered", f"{len(state.boxes)} of {share.boxes}"),
            Fact("Next, for a change", ", ".join(next_species) or "nothing else is there"),
        ),
        tables=(
            _delivered(state),
            Table("Paid", PAID, paid, total_row(PAID, paid, {"Paid"})),
            Table("Boxes to come", TO_COME, come),
            Table("What they had", SPECIES, species),
        ),
        currency=made.currency,
    )


def _delivered(state: ShareState) -> Table:
    boxes = _box_rows(state)
    total = total_row(BOXES, boxes, {"Box price", "Worth that day"})
    return Table("Boxes delivered", BOXES, boxes, total, note=WORTH_NOTE)


def receipt_paper(payment: Payment, farm: Farm) -> Paper:
    """The receipt of a deposit: it is no invoice, and states no tax."""
    share = payment.share
    assert share, "only a deposit has a receipt"
    report = Report(
        title=f"Receipt {payment.pk:04}",
        subtitle="",
        farm_name=farm.name,
        made_by=payment.by.initials,
        made_at=payment.entered_at.astimezone(farm.zone),
        facts=(
            Fact("Received on", payment.paid_on, Kind.DATE),
            Fact("How", payment.get_method_display()),
            Fact("For", f"{share}: {share.boxes} boxes"),
            Fact("Received", payment.amount_money, Kind.MONEY),
        ),
        currency=farm.currency,
    )
    customer = payment.customer
    return Paper(
        report,
        tuple(filter(None, (farm.name, farm.place))),
        tuple(filter(None, (customer.name, customer.address))),
        (TAX_WORDS,),
    )


# --- parts -----------------------------------------------------------------------------------


def _what(payment: Payment) -> str:
    return payment.get_what_display() + " and taken back" * bool(payment.takes_back_id)


def _share_row(one: ShareState) -> Row:
    worth = one.worth * 1_000_000 // one.delivered if one.delivered else None
    return (
        one.share.customer.name,
        one.share.pk,
        one.share.boxes,
        len(one.boxes),
        one.uncollected,
        one.paid,
        (one.paid_back + one.left) or None,
        one.delivered,
        one.held,
        one.still_to_pay,
        worth,
        len(one.species),
    )


def _box_rows(state: ShareState) -> tuple[Row, ...]:
    """``Held after it`` counts what was paid, and paid back, until today, box after box."""
    held, rows = state.held + state.delivered, []
    for box in state.boxes:
        held -= box.price
        rows.append(
            (
                box.day,
                str(box.delivery.note),
                ", ".join(box.species),
                box.price,
                box.worth,
                box.worth_ppm,
                held,
                box.left,
            )
        )
    return tuple(rows)
