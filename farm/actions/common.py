"""What every action needs: who did it and when, its labour, and how it is posted to the book.

One action = one function = one transaction = one ledger entry. An action asks the farm's rows
for what it must copy (rates, standard minutes, planned losses), posts one entry, and writes farm
rows about it only when the entry is fresh: the same form sent twice has one effect.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import Max, QuerySet

from farm.kinds.growing import CHECK, RECEIVE_SUPPLIES
from farm.kinds.kind import Kind
from farm.kinds.particulars import Particulars
from farm.models import (
    LotCard,
    Person,
    Placing,
    RateOf,
    Role,
    Shelf,
    Stage,
    StandardTime,
    Supply,
    rate_on,
    the_farm,
)
from farm.refusals import MendedByRecording, MendedInDetails
from farm.units import show_both
from ledger import book
from ledger.amounts import in_turn, in_words
from ledger.drafts import ChargeDraft, Draft, LineDraft, MarkDraft
from ledger.errors import Malformed
from ledger.models import Dimension, Entry, Item, Lot
from ledger.models import Role as LineRole

# What is said of a question that was asked.
ANSWER = "yes, that is right"
# What an action returns, for pages, which know nothing of the book's writer.
Recorded = book.Recorded


@dataclass(frozen=True, kw_only=True)
class Doing:
    """Who did it and when. ``minutes`` None: the standard time. ``own`` None: by the role.

    ``uuid`` is made by the form, so that sending it twice has one effect. ``form``: a digest of
    what the form said, kept among the particulars; `once.action` fills it in. ``sure``: yes to
    a question about a doubtful number; `questions.answered` writes what it was into ``asked``, or
    ``asked_money`` where it names a price.
    ``typed_by``: under whose sign-in, where the doer signed with a PIN at another's.
    """

    by: Person
    happened_at: datetime
    uuid: UUID
    minutes: int | None = None
    own: bool | None = None
    reason: str = ""
    form: str = ""
    sure: bool = False
    typed_by: Person | None = None
    asked: str = ""
    asked_money: str = ""

    @cached_property
    def local(self) -> datetime:
        """When it happened, on the farm's clock (one query)."""
        return self.happened_at.astimezone(the_farm().zone)

    @property
    def day(self) -> date:
        """The farm's local date."""
        return self.local.date()


@dataclass(frozen=True)
class Draw:
    """So much of a lot, in the lot's own unit."""

    lot: Lot
    quantity: int


def post(
    doing: Doing,
    kind: Kind,
    lines: Iterable[LineDraft],
    *,
    charges: Iterable[ChargeDraft] = (),
    marks: Iterable[MarkDraft] = (),
    particulars: Particulars | None = None,
) -> book.Recorded:
    """Record one entry of this kind in the book."""
    return book.record(draft(doing, kind, lines, charges=charges, marks=marks, said=particulars))


def draft(
    doing: Doing,
    kind: Kind,
    lines: Iterable[LineDraft],
    *,
    charges: Iterable[ChargeDraft] = (),
    marks: Iterable[MarkDraft] = (),
    said: Particulars | None = None,
) -> Draft:
    if not isinstance(said, kind.particulars | None):
        raise TypeError(f"{kind} is said by {kind.particulars.__name__}")
    typed_by = doing.typed_by or doing.by.entering_under
    beside = Particulars(
        form=doing.form,
        typed_by=typed_by.pk if typed_by else None,
        minutes_stated=doing.minutes,
        asked=doing.asked,
        asked_of_money=doing.asked_money,
        answer=ANSWER if doing.asked or doing.asked_money else "",
    )
    return Draft(
        kind=kind,
        happened_at=doing.local,
        happened_on=doing.day,
        by=doing.by.pk,
        uuid=doing.uuid,
        lines=tuple(lines),
        charges=tuple(charges),
        marks=tuple(marks),
        reason=doing.reason,
        particulars=beside.written() | (said or Particulars()).written(),
    )


# --- labour, energy, room --------------------------------------------------------------------


def labour(doing: Doing, kind: Kind, units: int = 0) -> tuple[ChargeDraft, ...]:
    """Charge the minutes, or the standard time, at the rate of the day; never silently zero.

    10 minutes at 18.0000 an hour are 3.0000.
    """
    minutes = standard_minutes(kind, units) if doing.minutes is None else doing.minutes
    own = doing.by.role == Role.OWNER if doing.own is None else doing.own
    rate = rate_on(RateOf.OWN_HOUR if own else RateOf.PAID_HOUR, doing.day)
    return _charge("own" if own else "paid", minutes, per=60, rate=rate)


def standard_minutes(kind: Kind, units: int = 0) -> int:
    """Minutes each time and for so many units, rounded up; one query."""
    usual = StandardTime.objects.filter(action=kind).first()
    if usual is None:
        raise MendedInDetails(
            f"How long “{kind}” usually takes is not known. Add it under Farm details, standard "
            "times, or state the minutes.",
            of=StandardTime,
        )
    return usual.minutes + -(-usual.unit_seconds * units // 60)


def energy(doing: Doing, watt_hours: int) -> tuple[ChargeDraft, ...]:
    return _charge("energy", watt_hours, per=1000, rate=rate_on(RateOf.KWH, doing.day))


def shelf_room(doing: Doing, blocks: int, days: int) -> tuple[ChargeDraft, ...]:
    """Charge the room of so many blocks for so many days."""
    return _charge("room", blocks * days, per=1, rate=rate_on(RateOf.BLOCK_DAY, doing.day))


def _charge(kind: str, quantity: int, *, per: int, rate: int) -> tuple[ChargeDraft, ...]:
    """Charge quantity / per units at a rate, rounded half up to 1/10,000 of the currency unit.

    The thousandths of a unit kept beside it are rounded half up on their own.
    """
    if quantity < 0:
        raise Malformed(f"{quantity} cannot be charged for {kind}. State zero or more.")
    if not quantity:
        return ()
    amount = (quantity * rate + per // 2) // per
    return (ChargeDraft(kind, amount, (quantity * 1000 + per // 2) // per, rate),)


# --- lots ------------------------------------------------------------------------------------


def item_for(name: str, dimension: str = Dimension.MASS, *, stage: Stage = Stage.SUPPLY) -> Item:
    """Return the item of this name; its stage says what can stand in for it."""
    return book.item_named(name, dimension, stage.alike)


def used(draws: Iterable[Draw]) -> list[LineDraft]:
    return [LineDraft(draw.lot, LineRole.USED, -draw.quantity) for draw in draws]


def card(lot: Lot, stage: Stage, **facts: Any) -> LotCard:
    """Say in the farm's words what a lot just made is."""
    return LotCard.objects.create(lot=lot, stage=stage, **facts)


def put(entry: Entry, lot: Lot, shelf: Shelf | None) -> None:
    if shelf is not None:
        Placing.objects.create(entry=entry, lot=lot, shelf=shelf)


def on_hand(stage: Stage, **facts: Any) -> QuerySet[Lot]:
    """Lots of a stage with something on hand, oldest first."""
    where = {f"card__{name}": value for name, value in facts.items()}
    lots = Lot.objects.filter(card__stage=stage, quantity__gt=0, **where)
    return lots.select_related("item", "card").order_by("made_by_id", "pk")


def oldest_first(supply: Supply, quantity: int) -> list[Draw]:
    """Take a supply from the oldest lots on hand; refuses when there is not enough.

    Used for packaging by itself, and to prefill the ingredients of a recipe.
    """
    lots = Lot.objects.filter(item=supply.item, quantity__gt=0, held=False).order_by("pk")
    draws, short = drawn(lots, quantity)
    if short:
        needed, there = (
            amount_words(amount, supply.item.dimension) for amount in (quantity, quantity - short)
        )
        raise MendedByRecording(
            f"{supply.item.name}: {needed} needed, {there} on hand. Receive the supply first, or "
            "take less.",
            kind=RECEIVE_SUPPLIES,
            row=supply,
        )
    return draws


def drawn(lots: Iterable[Lot], quantity: int) -> tuple[list[Draw], int]:
    """Draw a quantity from lots in the order given; and what they are short of it."""
    there = list(lots)
    parts, short = in_turn(quantity, [lot.quantity for lot in there])
    return [Draw(lot, part) for lot, part in zip(there, parts, strict=True) if part], short


def both(mass_mg: int) -> str:
    """Say a weight in both units, the farm's own first; one query."""
    return show_both(mass_mg, the_farm().weight_unit)


def amount_words(quantity: int, dimension: str) -> str:
    """Say a quantity for a message: a weight in both units, the rest in its own."""
    return both(quantity) if dimension == Dimension.MASS else in_words(quantity, dimension)


def need_stage(lot: Lot, *stages: Stage) -> LotCard:
    """Return the lot's card; refuse a lot that this action does not work on."""
    found = LotCard.objects.select_related("lot", "strain__species", "species", "recipe").get(
        lot=lot
    )
    if found.stage not in stages:
        wanted = " or ".join(stage.label for stage in stages)
        raise Malformed(
            f"Lot {lot.code} is {found.get_stage_display()}, not {wanted}. Choose another lot.",
            [lot.code],
        )
    return found


def need_some(quantity: int, what: str) -> None:
    """Refuse a quantity of nothing before it divides anything."""
    if quantity <= 0:
        raise Malformed(f"{quantity} {what} cannot be. State 1 or more.")


def last_day(lot: Lot, kinds: Sequence[Kind]) -> date | None:
    """The last local day on which a standing entry of these kinds touched a lot.

    What a check split off lived in the lot it came from until then; one query a split and lot.
    """
    before: int | None = None
    while True:
        day = _last_day(lot, kinds, before)
        if day is not None or lot.made_by.kind != CHECK:
            return day
        before = lot.made_by_id
        edge = lot.edges_in.select_related("src__made_by").first()
        if edge is None:  # the check was taken back
            return None
        lot = edge.src


def _last_day(lot: Lot, kinds: Sequence[Kind], before: int | None) -> date | None:
    entries = Entry.objects.filter(lines__lot=lot, kind__in=kinds, amends=None)
    if before is not None:
        entries = entries.filter(seq__lt=before)
    standing = entries.standing()
    day: date | None = standing.aggregate(day=Max("happened_on"))["day"]
    return day
