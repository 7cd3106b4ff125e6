"""Invoices, credit notes, what was paid, paid back and given up.

None of these rows is ever changed; the database refuses. An invoice that was wrong gets a credit
note, a payment that was wrong is taken back by a row of its own. What is owed, and since when, is
read from these rows (`farm.queries.accounts.owed`) and stands nowhere.
"""

from django.db import models
from django.db.models import Q

from farm.models.lots import SaleLine
from farm.models.orders.orders import Share
from farm.models.people.people import Person
from farm.models.trading import Customer


class InvoiceKind(models.TextChoices):
    FULL = "full", "invoice"
    SIMPLE = "simple", "simplified invoice"
    CREDIT = "credit", "credit note"


class Invoice(models.Model):
    """An invoice as it was issued, or a credit note to one; numbers of a series have no gaps.

    Names, addresses and words are copied: they stay as they were on the paper, because tax law
    asks that invoices are kept as issued. ``supplied_from`` to ``supplied_until``: the days of
    the sales in it. A simplified invoice may name no customer.
    """

    series = models.CharField(max_length=8)
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=6, choices=InvoiceKind)
    credits = models.ForeignKey("self", models.PROTECT, null=True, related_name="changes")
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, related_name="invoices")
    issued_on = models.DateField(db_index=True)
    due_on = models.DateField(db_index=True)
    supplied_from = models.DateField()
    supplied_until = models.DateField()
    seller_name = models.CharField(max_length=80)
    seller_address = models.CharField(max_length=120)
    seller_tax_number = models.CharField(max_length=30, blank=True)
    customer_name = models.CharField(max_length=80, blank=True)
    customer_address = models.CharField(max_length=200, blank=True)
    customer_tax_number = models.CharField(max_length=30, blank=True)
    currency = models.CharField(max_length=3)
    exemption_words = models.CharField(max_length=200, blank=True)
    pay_to = models.CharField(max_length=200, blank=True)
    note = models.CharField(max_length=200, blank=True)
    issued_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    form = models.CharField("digest of what was asked for", max_length=16)

    class Meta:
        ordering = ("-issued_on", "-pk")
        constraints = [
            models.UniqueConstraint(fields=("series", "number"), name="invoice_number"),
            models.CheckConstraint(
                condition=Q(kind=InvoiceKind.CREDIT, credits__isnull=False)
                | ~Q(kind=InvoiceKind.CREDIT),
                name="credit_note_names_its_invoice",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.series}-{self.number:04}"


class InvoiceLine(models.Model):
    """A line of a sale is on one invoice or credit note, once; its money stands at the sale."""

    invoice = models.ForeignKey(Invoice, models.PROTECT, related_name="lines")
    sale_line = models.OneToOneField(SaleLine, models.PROTECT, related_name="invoiced")

    class Meta:
        ordering = ("pk",)


class Method(models.TextChoices):
    BANK = "bank", "bank transfer"
    CASH = "cash", "cash"
    CARD = "card", "card"
    OTHER = "other", "other"


class Settling(models.TextChoices):
    """What settles an account; the first two move money."""

    PAID = "paid", "paid"
    BACK = "back", "paid back"
    GIVEN_UP = "given", "given up"  # what a customer owes and will not pay
    AGAIN = "again", "owed again"  # what was given up, and is paid or credited after all
    KEPT = "kept", "left to the farm"  # what a customer has to get back and does not ask for


MONEY_MOVES = (Settling.PAID, Settling.BACK)
NO_MONEY_MOVES = (Settling.GIVEN_UP, Settling.AGAIN, Settling.KEPT)
LOWERS = Q(what__in=(Settling.PAID, Settling.GIVEN_UP))
RAISES = Q(what__in=(Settling.BACK, Settling.AGAIN, Settling.KEPT))


class Payment(models.Model):
    """Money that came in from a customer or went back to them, or what of it was given up.

    For one invoice, or for the oldest that are open. ``amount_money``: what it takes off what the
    customer owes; below zero where it adds to that, or takes back what took off. ``share``: of a
    deposit, which pays no invoice; it is owed to the member until the boxes are delivered.
    ``method``: empty where no money moved. ``along_with``: the payment that made it owed again.
    """

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="payments")
    invoice = models.ForeignKey(Invoice, models.PROTECT, null=True, related_name="payments")
    share = models.ForeignKey(Share, models.PROTECT, null=True, related_name="payments")
    what = models.CharField(max_length=5, choices=Settling, default=Settling.PAID)
    paid_on = models.DateField(db_index=True)
    amount_money = models.BigIntegerField()
    method = models.CharField(max_length=5, choices=Method, blank=True)
    note = models.CharField(max_length=200, blank=True)
    entered_at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    uuid = models.UUIDField(unique=True)
    takes_back = models.OneToOneField(
        "self", models.PROTECT, null=True, related_name="taken_back_by"
    )
    along_with = models.ForeignKey("self", models.PROTECT, null=True, related_name="along")

    class Meta:
        ordering = ("paid_on", "pk")
        constraints = [
            models.CheckConstraint(
                condition=(LOWERS & Q(amount_money__gt=0, takes_back=None))
                | (LOWERS & Q(amount_money__lt=0, takes_back__isnull=False))
                | (RAISES & Q(amount_money__lt=0, takes_back=None))
                | (RAISES & Q(amount_money__gt=0, takes_back__isnull=False)),
                name="payment_is_signed_by_what_it_is",
            ),
            models.CheckConstraint(
                condition=Q(invoice=None) | Q(share=None), name="payment_is_for_one_thing"
            ),
            models.CheckConstraint(
                condition=(Q(method="") & Q(what__in=NO_MONEY_MOVES))
                | (~Q(method="") & Q(what__in=MONEY_MOVES)),
                name="payment_has_a_method_where_money_moved",
            ),
            models.CheckConstraint(
                condition=~Q(note="") | Q(what=Settling.PAID) | Q(takes_back__isnull=False),
                name="payment_says_why_it_is_none",
            ),
        ]

    def __str__(self) -> str:
        return f"payment {self.pk}"

    @property
    def is_taken_back(self) -> bool:
        return hasattr(self, "taken_back_by")


NEVER_CHANGED = (Invoice, InvoiceLine, Payment)
