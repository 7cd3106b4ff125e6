"""Shares: what was paid ahead, what was delivered, what is owed; and whether boxes are fair.

Money paid ahead is no income: it is owed to the member until boxes are delivered, and each box
takes its price of it. So deposits held = paid - delivered, read from payments and sales alone. Tax
is left at the delivery, where the sale states it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import OuterRef, QuerySet, Sum

from farm.models import BoxDelivery, Payment, SaleLine, Share
from farm.queries.orders import DueOrder, due_between


@dataclass(frozen=True)
class Box:
    """A box that was given out; ``price`` is what it took of the deposit, returns taken off."""

    delivery: BoxDelivery
    day: date
    species: tuple[str, ...]
    price: int
    worth: int
    left: str

    @property
    def worth_ppm(self) -> int:
        """What is in it at the prices of the day, over its price; rounded down."""
        return self.worth * 1_000_000 // self.price if self.price else 0


@dataclass(frozen=True)
class ShareState:
    """A share on a day: paid - delivered = held, below zero where boxes were given unpaid."""

    share: Share
    paid: int
    boxes: tuple[Box, ...]

    @property
    def delivered(self) -> int:
        return sum(box.price for box in self.boxes)

    @property
    def held(self) -> int:
        return self.paid - self.delivered

    @property
    def still_to_pay(self) -> int:
        return max(0, self.share.promised_money - self.paid)

    @property
    def worth(self) -> int:
        return sum(box.worth for box in self.boxes)

    @property
    def to_come(self) -> int:
        return max(0, self.share.boxes - len(self.boxes))

    @property
    def uncollected(self) -> int:
        return sum(bool(box.left) for box in self.boxes)

    @property
    def species(self) -> Counter[str]:
        """In how many of the boxes each species was."""
        return Counter(name for box in self.boxes for name in box.species)


def share_states(day: date, shares: QuerySet[Share] | None = None) -> list[ShareState]:
    """Every share as it stood at the end of a day; four queries."""
    rows = Share.objects.all() if shares is None else shares
    found = list(rows.select_related("customer", "order", "by").filter(order__isnull=False))
    paid = dict(
        Payment.objects.filter(share__in=found, paid_on__lte=day)
        .values_list("share").annotate(Sum("amount_money")).order_by()
    )  # fmt: skip
    boxes = _boxes(found, day)
    return [ShareState(one, paid.get(one.pk, 0), tuple(boxes[one.pk])) for one in found]


def deposits_held(day: date) -> int:
    """Money received for boxes that are still owed, at the end of a day: a debt, not income."""
    return sum(max(0, state.held) for state in share_states(day))


def boxed_money(day: date) -> QuerySet[Any, Any]:
    """What the boxes that an outer customer was given took of the deposits, as one number."""
    lines = SaleLine.objects.filter(
        sale__note__box__share__customer=OuterRef("pk"),
        sale__note__issued_on__lte=day,
        line__entry__happened_on__lte=day,
    ).exclude(sale__entry__amendments__takes_back=True)
    of_customer = lines.order_by().values("sale__note__box__share__customer")
    return of_customer.annotate(total=Sum("gross")).values("total")


def boxes_due(first: date, last: date) -> list[DueOrder]:
    """The boxes of some days, given out or not."""
    return [due for due in due_between(first, last) if due.order.share_id]


def missed_species(state: ShareState, there: Iterable[str], last: int = 2) -> list[str]:
    """Of the species that are there, those in none of the last boxes: the next ones to give."""
    lately = {name for box in state.boxes[-last:] for name in box.species}
    return sorted(set(there) - lately)


# --- parts -----------------------------------------------------------------------------------


def _boxes(shares: list[Share], day: date) -> dict[int, list[Box]]:
    """Standing boxes by share, in the order of days; two queries."""
    rows = BoxDelivery.objects.filter(share__in=shares, note__issued_on__lte=day)
    rows = rows.exclude(note__sale__entry__amendments__takes_back=True)
    rows = rows.select_related("note__sale__entry", "left").order_by("note__issued_on", "pk")
    deliveries = list(rows)
    price: dict[int, int] = defaultdict(int)
    species: dict[int, set[str]] = defaultdict(set)
    lines = SaleLine.objects.filter(
        sale__note__box__in=deliveries, line__entry__happened_on__lte=day
    ).select_related("line__lot__card__species")
    for line in lines:
        price[line.sale_id] += line.gross
        if line.line.lot.card.species:
            species[line.sale_id].add(line.line.lot.card.species.name)
    boxes: dict[int, list[Box]] = defaultdict(list)
    for one in deliveries:
        sale, left = one.note.sale_id, getattr(one, "left", None)
        boxes[one.share_id].append(
            Box(
                delivery=one,
                day=one.note.issued_on,
                species=tuple(sorted(species[sale])),
                price=price[sale],
                worth=one.worth_money,
                left=left.reason if left else "",
            )
        )
    return boxes
