"""A day at a stall: what was tapped at the till, given away, counted in the cash, owed as tokens.

All but Token state what happened and are never changed; a cash-up is corrected by a new one.
"""

from django.db import models

from farm.models.lots import Sale, StallDay
from farm.models.people.people import Person
from farm.models.trading import SellingPlace
from ledger.models import Entry, Item
from ledger.standing import StandingQuerySet


class Given(models.TextChoices):
    """Why something left without being sold; the entry's reason begins with this word."""

    SAMPLE = "sample", "samples"
    GIFT = "gift", "gifts"
    OWN = "own use", "own use"


class TapOf(models.TextChoices):
    """What one tap at the till says."""

    SOLD = "sold", "sold"
    SAMPLE = Given.SAMPLE.value, "sample"
    GIFT = Given.GIFT.value, "gift"
    OWN = Given.OWN.value, "own use"


class Discount(models.TextChoices):
    """Why something was sold for another price than the list's."""

    LATE = "end of the day", "end of the day"
    SEVERAL = "several at once", "several at once"
    REGULAR = "regular customer", "regular customer"
    MARKED = "marked or broken", "marked or broken"
    OTHER = "another reason", "another reason"


class CashWord(models.TextChoices):
    """What a difference between the cash and the book is put down to."""

    UNKNOWN = "not known", "not known"
    CHANGE = "change given wrong", "change given wrong"
    UNNOTED = "a sale or a price not noted", "a sale or a price not noted"
    FLOAT = "float counted wrong", "float counted wrong"
    LATER = "found later", "found later"


class Token(models.Model):
    """A kind of token or voucher that a stall takes in place of money; the issuer pays it."""

    name = models.CharField(max_length=60, unique=True)
    place = models.ForeignKey(SellingPlace, models.PROTECT, related_name="tokens")
    value_money = models.PositiveBigIntegerField("worth of one")
    issuer = models.CharField("who pays it", max_length=80)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Tap(models.Model):
    """One tap at a stall's till: so much of an item at a price, or given away.

    ``quantity`` below zero takes the last such tap back. ``uuid``: made by the page, so that a tap
    sent twice, or late from a phone without signal, counts once.
    """

    uuid = models.UUIDField(unique=True)
    stall_day = models.ForeignKey(StallDay, models.PROTECT, related_name="taps")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    of = models.CharField(max_length=8, choices=TapOf)
    quantity = models.BigIntegerField()
    unit_money = models.PositiveBigIntegerField("price of one")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


class TillPrice(models.Model):
    """What an item costs at a stall from a time of its day on."""

    uuid = models.UUIDField(unique=True)
    stall_day = models.ForeignKey(StallDay, models.PROTECT, related_name="till_prices")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    unit_money = models.PositiveBigIntegerField("price of one")
    why = models.CharField(max_length=16, choices=Discount)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


class GivenAway(models.Model):
    """An entry gave something away; at a stall it belongs to the sale that settled the day."""

    entry = models.OneToOneField(Entry, models.PROTECT, related_name="given_away")
    why = models.CharField(max_length=8, choices=Given)
    sale = models.ForeignKey(Sale, models.PROTECT, null=True, related_name="given_away")


class CashUp(models.Model):
    """What was in the till after a stall day, as it was counted; the newest one stands.

    ``paid_out_money``: taken out of the cash during the day, such as the fee.
    """

    uuid = models.UUIDField(unique=True)
    sale = models.ForeignKey(Sale, models.PROTECT, related_name="cash_ups")
    float_money = models.PositiveBigIntegerField("float at the start")
    cash_money = models.PositiveBigIntegerField("cash counted")
    card_money = models.PositiveBigIntegerField("taken by card", default=0)
    card_count = models.PositiveIntegerField("card payments", default=0)
    paid_out_money = models.PositiveBigIntegerField("paid out of the cash", default=0)
    word = models.CharField(max_length=30, choices=CashWord, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")

    objects = StandingQuerySet.as_manager()


class CashUpToken(models.Model):
    """How many tokens of a kind were counted, and what one was worth on that day."""

    cash_up = models.ForeignKey(CashUp, models.PROTECT, related_name="tokens")
    token = models.ForeignKey(Token, models.PROTECT, related_name="counted")
    count = models.PositiveIntegerField()
    value_money = models.PositiveBigIntegerField("worth of one")


class TokensPaid(models.Model):
    """What the issuer of tokens paid for those handed in."""

    uuid = models.UUIDField(unique=True)
    token = models.ForeignKey(Token, models.PROTECT, related_name="paid")
    day = models.DateField()
    amount = models.BigIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")


NEVER_CHANGED = (Tap, TillPrice, GivenAway, CashUp, CashUpToken, TokensPaid)
