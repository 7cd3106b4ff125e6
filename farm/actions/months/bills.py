"""Enter the month's bills; a wrong one is taken back by a negative one, never changed."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from farm.actions.growing.purchase_tax import landed
from farm.models import Bill, BillKind, Person, Supplier
from farm.queries.months.months import Month
from ledger.errors import Conflict, Malformed, NotStanding


@dataclass(frozen=True, kw_only=True)
class BillSaid:
    """What the paper says. ``paid_money``: to be paid, with the ``tax_money`` that is in it."""

    month: Month
    kind: BillKind
    paid_money: int
    tax_money: int = 0
    supplier: Supplier | None = None
    note: str = ""


@transaction.atomic
def enter_bill(by: Person, said: BillSaid, *, uuid: UUID, at: datetime) -> Bill:
    """Enter a bill of a month, open or closed; sent twice under one UUID it is one bill.

    It counts without its tax where the farm reclaims that. Lots' costs stay as they are: a bill
    is compared with what the rates charged.
    """
    if said.paid_money <= 0:
        raise Malformed("A bill of nothing cannot be. State what is to be paid.")
    paid = landed(said.paid_money, said.tax_money)
    stated = {
        "month": said.month.first,
        "kind": said.kind,
        "supplier": said.supplier,
        "note": said.note,
        "paid_money": said.paid_money,
        "tax_money": said.tax_money,
    }
    known = Bill.objects.filter(uuid=uuid).first()
    if known is None:
        return Bill.objects.create(
            **stated, cost_money=paid.cost_money, entered_at=at, by=by, uuid=uuid
        )
    if any(getattr(known, name) != value for name, value in stated.items()):
        raise Conflict("This form was sent before with another bill. Fill in a new form.")
    return known


@transaction.atomic
def take_bill_back(by: Person, bill: Bill, *, uuid: UUID, at: datetime) -> Bill:
    """Take a bill back by a negative one of the same month; sent twice it is one."""
    known = Bill.objects.filter(takes_back=bill).first()
    if known and known.uuid == uuid:
        return known
    if known or bill.takes_back_id:
        raise NotStanding(f"The bill {bill} was taken back already. Enter the right one anew.")
    return Bill.objects.create(
        month=bill.month,
        kind=bill.kind,
        supplier=bill.supplier,
        note=bill.note,
        paid_money=-bill.paid_money,
        tax_money=-bill.tax_money,
        cost_money=-bill.cost_money,
        entered_at=at,
        by=by,
        uuid=uuid,
        takes_back=bill,
    )
