"""The money beside a sale: its lines as they change, and what selling cost.

Rows are only ever added: a return, a correction or an undo writes the difference.
"""

from collections.abc import Iterable
from dataclasses import asdict, replace

from django.db.models import QuerySet, Sum

from farm.actions.common import Doing, labour, standard_minutes
from farm.actions.selling.pricing import NOTHING, Amount, to_cent
from farm.kinds import kind_named
from farm.models import Sale, SaleLine, SellingCost, SellingPlace
from farm.queries.costs.times import place_minutes
from ledger.amounts import MILLION
from ledger.errors import Malformed
from ledger.models import Entry, Line, Role


def sold_line(line: Line) -> Line:
    """Find the line that first said that a lot was sold; a return is no sale."""
    if line.role != Role.SOLD:
        raise Malformed(
            f"Lot {line.lot.code}: {line.quantity} came back here. Choose the line of the sale.",
            [line.lot.code],
        )
    return Line.objects.select_related("lot", "entry").get(
        entry=line.entry.place, lot=line.lot_id, role=Role.SOLD
    )


def standing_lines(sold: Line) -> QuerySet[SaleLine]:
    """The money of a sold line with its corrections."""
    rows = SaleLine.objects.standing_at(sold.entry.place, "line__entry")
    return rows.filter(line__lot=sold.lot_id, line__role=Role.SOLD)


def money_of(rows: QuerySet[SaleLine]) -> Amount:
    """Add up sale lines; one query."""
    sums = rows.aggregate(*(Sum(name) for name in ("net", "tax", "gross")))
    return Amount(*(sums[f"{name}__sum"] or 0 for name in ("net", "tax", "gross")))


def add_sale_line(sale: Sale, line: Line, amount: Amount, *, like: SaleLine) -> SaleLine:
    """Write the difference that a return, a correction or an undo makes to a sale."""
    return SaleLine.objects.create(
        sale=sale, line=line, product=like.product, tax_ppm=like.tax_ppm, **asdict(amount)
    )


def to_give_back(sold: Line) -> list[tuple[Entry, Amount]]:
    """Say, return by return, which (negative) money it does not state yet.

    A return's money is the part of what was paid for the line that all came back with so far,
    rounded half up to the cent, less what went back before it. 10 at 50.00, of which 4 came back,
    corrected to 45.00: the return states -20.00 and should -18.00, so 2.00.
    """
    returns = Line.objects.filter(returns=sold)
    whole = Line.objects.standing_at(sold.entry.place).filter(lot=sold.lot_id, role=Role.SOLD)
    quantity = -(whole.aggregate(total=Sum("quantity"))["total"] or 0)
    paid = money_of(standing_lines(sold))
    back, before, found = 0, NOTHING, []
    by_entry = returns.order_by("entry__place").values_list("entry__place")
    for place, came_back in by_entry.annotate(Sum("quantity")):
        back += came_back
        net, gross = (-to_cent(money * back, quantity) for money in (paid.net, paid.gross))
        so_far = Amount(net, gross - net, gross)
        stated = money_of(SaleLine.objects.filter(line__in=returns.standing_at(place)))
        found.append((Entry.objects.get(pk=place), so_far.minus(before).minus(stated)))
        before = so_far
    return found


def total(amounts: Iterable[Amount]) -> Amount:
    """Add amounts up."""
    parts = [(one.net, one.tax, one.gross) for one in amounts]
    return Amount(*map(sum, zip(*parts, strict=True))) if parts else NOTHING


# --- what selling costs ----------------------------------------------------------------------


def add_hours(entry: Entry, doing: Doing, place: SellingPlace) -> None:
    """Write the minutes stated, the place's usual ones, or else the action's standard time."""
    kind = kind_named(entry.kind)
    minutes = place_minutes(place, kind) if doing.minutes is None else doing.minutes
    if minutes is None:
        minutes = standard_minutes(kind)
    for charge in labour(replace(doing, minutes=minutes), kind):
        SellingCost.objects.create(
            entry=entry,
            place=place,
            what=SellingCost.HOURS,
            amount=charge.amount,
            minutes=minutes,
            own=charge.kind == "own",
        )


def add_share_of_takings(entry: Entry, place: SellingPlace, gross: int) -> None:
    """Write the place's share of takings, rounded half up to the cent: 6 % of 139.50 is 8.37."""
    amount = to_cent(gross * place.fee_ppm, MILLION)
    if amount:
        SellingCost.objects.create(entry=entry, place=place, what=SellingCost.SHARE, amount=amount)
