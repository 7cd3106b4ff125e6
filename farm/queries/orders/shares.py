"""Shares: what was paid ahead, what was delivered, what is owed; and whether boxes are fair.

Money paid ahead is no income: it is owed to the member until boxes are delivered, and each box
takes its price of it. So deposits held = paid - paid back - left to the farm - delivered, read from
payments and sales alone; what is corrected or undone of a box counts on the day of the box. Tax is
left at the delivery, where the sale states it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet, Sum

from farm.models import NO_MONEY_MOVES, BoxDelivery, Payment, SaleLine, Settling, Share
from farm.queries.orders.orders import DueOrder, due_between
from farm.queries.roll_forward import BOX_DAY


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
    """A share on a day: paid - paid back - left - delivered = held.

    Below zero, boxes were given unpaid. ``left``: to the farm by the member, less what the farm
    gave up of boxes unpaid. ``ended``: it was called off, so no box is to come.
    """

    share: Share
    paid: int
    paid_back: int
    left: int
    boxes: tuple[Box, ...]
    ended: bool

    @property
    def delivered(self) -> int:
        return sum(box.price for box in self.boxes)

    @property
    def held(self) -> int:
        return self.paid - self.paid_back - self.left - self.delivered

    @property
    def still_to_pay(self) -> int:
        """What is not paid of all that was promised; once it is called off, of what was given."""
        due = self.delivered if self.ended else self.share.promised_money
        return max(0, due - self.delivered - self.held)

    @property
    def worth(self) -> int:
        return sum(box.worth for box in self.boxes)

    @property
    def to_come(self) -> int:
        return 0 if self.ended else max(0, self.share.boxes - len(self.boxes))

    @property
    def uncollected(self) -> int:
        return sum(bool(box.left) for box in self.boxes)

    @property
    def species(self) -> Counter[str]:
        """In how many of the boxes each species was."""
        return Counter(name for box in self.boxes for name in box.species)


def share_states(day: date, shares: QuerySet[Share] | None = None) -> list[ShareState]:
    """Every share as it stood at the end of a day; five queries."""
    rows = Share.objects.all() if shares is None else shares
    rows = rows.select_related("customer", "order", "by").filter(order__isnull=False)
    found = list(rows.prefetch_related("order__stops"))
    settled: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    payments = Payment.objects.filter(share__in=found, paid_on__lte=day).order_by()
    for pk, what, money in payments.values_list("share", "what").annotate(Sum("amount_money")):
        settled[pk][what] = money
    boxes = _boxes(found, day)
    return [_state(one, settled[one.pk], boxes[one.pk], day=day) for one in found]


def _state(
    share: Share, settled: Mapping[str, int], boxes: Iterable[Box], *, day: date
) -> ShareState:
    return ShareState(
        share=share,
        paid=settled.get(Settling.PAID, 0),
        paid_back=-settled.get(Settling.BACK, 0),
        left=-sum(settled.get(what, 0) for what in NO_MONEY_MOVES),
        boxes=tuple(boxes),
        ended=any(stop.from_day <= day for stop in share.order.stops.all()),
    )


def deposits_held(day: date) -> int:
    """Money received for boxes that are still owed, at the end of a day: a debt, not income."""
    return sum(max(0, state.held) for state in share_states(day))


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
    rows = rows.standing("note__sale__entry")
    rows = rows.select_related("note__sale__entry", "left").order_by("note__issued_on", "pk")
    deliveries = list(rows)
    price: dict[int, int] = defaultdict(int)
    species: dict[int, set[str]] = defaultdict(set)
    lines = SaleLine.objects.annotate(day=BOX_DAY).filter(sale__note__box__in=deliveries)
    for line in lines.filter(day__lte=day).select_related("line__lot__card__species"):
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
