"""Give up what will not be paid, keep what a customer leaves; and owe it again where it comes."""

from datetime import date

from django.db import transaction
from django.db.models import Q

from farm.actions.accounts.settling import (
    Paid,
    check_reason,
    check_stated,
    given_up_of,
    known_row,
    part_of,
    shown,
    state_of,
    write_row,
)
from farm.actions.common import Doing
from farm.models import Invoice, Payment, Settling
from farm.queries.accounts.owed import Account, account_of
from ledger import book
from ledger.errors import Malformed

Side = tuple[Settling, Invoice | None]


@transaction.atomic
def give_up(doing: Doing, given: Paid) -> Payment:
    """Give up what a customer owes and will not pay, or keep what they leave to the farm.

    Which of the two follows from their account, or from the share; no more than there is.
    """
    book.lock_head()
    reason = check_reason(doing, "it is given up: a cent off, moved away, not worth a letter")
    stated = {
        "customer": given.customer,
        "share": given.share,
        "paid_on": given.paid_on,
        "method": "",
        "note": reason,
    }
    signs = {Settling.GIVEN_UP: given.amount_money, Settling.KEPT: -given.amount_money}
    known = Payment.objects.filter(uuid=doing.uuid).first()
    if known:
        known_row(doing, {**stated, "amount_money": signs.get(Settling(known.what))})
        return known
    check_stated(doing, given, "Nothing cannot be given up. State how much.")
    what, invoice = _share_side(given) if given.share else _account_side(given)
    return write_row(
        doing, {**stated, "what": what, "amount_money": signs[what], "invoice": invoice}
    )


# --- owed again ------------------------------------------------------------------------------


def owed_again(paid: Paid) -> int:
    """Say what a payment makes owed again of what was given up of its invoice or share.

    It takes what is open first. 64.20 were given up and 64.20 are paid after all: all of it.
    """
    if paid.invoice:
        return credited_again(paid.invoice, paid.amount_money)
    if paid.share:
        unpaid = max(0, -state_of(paid.share).held)
        return min(given_up_of(share=paid.share), max(0, paid.amount_money - unpaid))
    return 0


def credited_again(invoice: Invoice, comes_off: int) -> int:
    """Say what comes off an invoice beyond what is open of it, and was given up.

    10.00 were given up, and goods of 4.00 come back: 4.00. So 6.00 stay given up, and the
    customer, who paid nothing, has nothing to get back.
    """
    root = invoice.credits or invoice
    if root.customer is None:
        return 0
    account = account_of(root.customer, date.max)
    is_open = sum(one.open_money for one in account.open_invoices if one.invoice == root)
    family = Invoice.objects.filter(Q(pk=root.pk) | Q(credits=root))
    return min(given_up_of(invoice__in=family), max(0, comes_off - is_open))


def write_again(doing: Doing, money: int, paid: Paid, *, along: Payment | None = None) -> None:
    """Write what is owed again, beside the payment that pays it, or for a credit note."""
    if money:
        write_row(
            part_of(doing, "again"),
            {
                "customer": paid.customer,
                "amount_money": -money,
                "what": Settling.AGAIN,
                "paid_on": paid.paid_on,
                "method": "",
                "invoice": paid.invoice,
                "share": paid.share,
                "along_with": along,
                "note": "paid after all" if along else "credited after all",
            },
        )


# --- whose side ------------------------------------------------------------------------------


def _account_side(given: Paid) -> Side:
    """Say whether the customer owes it, and on which invoice, or has it to get back."""
    account = account_of(given.customer, date.max)
    if account.ahead_money and not given.invoice:
        _check_most(given, account.ahead_money, "to get back")
        return Settling.KEPT, None
    invoice = given.invoice or _only_one(account)
    most = sum(one.open_money for one in account.open_invoices if one.invoice == invoice)
    if account.beyond and invoice is None:
        most += account.beyond.open_money
    _check_most(given, most, f"open of {invoice}" if invoice else "to pay")
    return Settling.GIVEN_UP, invoice


def _only_one(account: Account) -> Invoice | None:
    """The one invoice that is open; None where what is owed is on none."""
    invoices = [one.invoice for one in account.open_invoices]
    if len(invoices) > 1:
        named = ", ".join(map(str, invoices))
        raise Malformed(f"{account.customer} has {named} open. Choose of which it is given up.")
    return invoices[0] if invoices else None


def _share_side(given: Paid) -> Side:
    assert given.share, "the deposit of a share"
    held = state_of(given.share).held
    kept = held > 0
    _check_most(given, abs(held), f"held for {given.share}" if kept else f"unpaid of {given.share}")
    return Settling.KEPT if kept else Settling.GIVEN_UP, None


def _check_most(given: Paid, most: int, what: str) -> None:
    if not most:
        raise Malformed(f"{given.customer} has nothing {what}: there is nothing to give up.")
    if given.amount_money > most:
        raise Malformed(
            f"{given.customer} has {shown(most)} {what}, so {shown(given.amount_money)} cannot be "
            f"given up. State {shown(most)} or less."
        )
