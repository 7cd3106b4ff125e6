"""Sell to a customer, at the door or at a stall, and take back what comes back.

A sale is one entry of the book; its money stands beside it in SaleLine rows, and what selling
cost (hours, fees) in SellingCost rows: it belongs to the place, not to stock.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date

from farm.actions.common import Doing, Draw, both, need_stage, post
from farm.actions.once import action
from farm.actions.pricing import Terms, need_price, terms_at
from farm.actions.takings import (
    FEE,
    add_hours,
    add_sale_line,
    add_share_of_takings,
    sold_line,
    to_give_back,
    total,
)
from farm.models import (
    Customer,
    LoadLine,
    Product,
    Sale,
    SaleLine,
    SellingCost,
    SellingPlace,
    Stage,
    StallDay,
)
from farm.queries.sales import loads_of
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed, NotEnough, OnHold
from ledger.models import Dimension, Entry, Lot, Role

SELLABLE = (Stage.PACKS, Stage.CROP, Stage.DRIED, Stage.SPENT)


@dataclass(frozen=True)
class SoldLine:
    """So much of a lot, in its own unit; the price of a pack, or of what is loose by weight.

    ``weight_unit``: kg or lb, the unit that the price of what is loose was stated for.
    """

    lot: Lot
    quantity: int
    unit_money: int
    product: Product | None = None
    weight_unit: str = "kg"


@dataclass(frozen=True)
class Deal:
    """Where and to whom: a named customer, or a stall day on which nobody's name is known."""

    place: SellingPlace
    customer: Customer | None = None
    stall_day: StallDay | None = None


@action
def sell(
    doing: Doing,
    *,
    place: SellingPlace,
    customer: Customer | None = None,
    lines: Sequence[SoldLine],
    count_up: bool = False,
) -> Recorded:
    """Sell from named lots at the prices asked; each line is split into net, tax and gross.

    Beyond what the book holds it is refused (NotEnough); with ``count_up`` what is missing is
    counted up without cost in the same entry. The hours (`takings.add_hours`) and the share of
    takings are selling costs of the place.
    """
    counted = _missing(lines) if count_up else []
    recorded = post_sale(doing, "sell", Deal(place, customer), lines=lines, beside=counted)
    if recorded.fresh:
        add_hours(recorded.entry, doing, place)
    return recorded


@action
def take_back(doing: Doing, *, sale_line: SaleLine, quantity: int) -> Recorded:
    """Take sold goods back into the lot that they came from, even an emptied one.

    The lot keeps its day of harvest. Money goes back by quantity: of what was paid for the line,
    the part of all that came back so far, rounded half up to the cent, less what went back
    before; so taking all back, in any steps, gives the whole price back.
    """
    sold = sold_line(sale_line.line)
    sale = sale_line.sale
    recorded = post(doing, "take back", [LineDraft(sold.lot, Role.BACK, quantity, returns=sold)])
    if recorded.fresh:
        amount = total(part for _, part in to_give_back(sold))
        add_sale_line(sale, recorded.entry.lines.get(), amount, like=sale_line)
        add_share_of_takings(recorded.entry, sale.place, amount.gross)
        add_hours(recorded.entry, doing, sale.place)
    return recorded


@action
def load_stall(doing: Doing, *, place: SellingPlace, day: date, lines: Sequence[Draw]) -> Recorded:
    """Load lots for a stall; nothing is sold yet, so the book's lines carry no quantity.

    The load list is by lot: for a recall every lot loaded and not wholly brought back counts.
    Refuses lots on hold, and more than is on hand and in no other open load. The hours are a
    selling cost of the place.
    """
    for line in lines:
        _check_load(line)
    recorded = post(
        doing,
        "load stall",
        [LineDraft(line.lot, Role.COUNTED, 0) for line in lines],
        particulars={
            "place": place.pk,
            "day": day.isoformat(),
            "loaded": {line.lot.code: line.quantity for line in lines},
        },
    )
    if recorded.fresh:
        stall_day = StallDay.objects.create(entry=recorded.entry, place=place, day=day)
        LoadLine.objects.bulk_create(
            LoadLine(stall_day=stall_day, lot=line.lot, quantity=line.quantity) for line in lines
        )
        add_hours(recorded.entry, doing, place)
    return recorded


@action
def settle_stall(
    doing: Doing,
    *,
    stall_day: StallDay,
    brought_back: Mapping[int, int],
    prices: Mapping[int, int],
    weight_unit: str = "kg",
) -> Recorded:
    """Say what was brought back; the rest of the load was sold: took 40, brought back 9, sold 31.

    ``brought_back`` and ``prices`` (of a pack, or a ``weight_unit``) by lot pk. A lot not named
    came back with nothing; a price not named is the one in force on the stall's day. The day's fee,
    the share of takings and the hours are selling costs of the place.
    """
    _check_unsettled(stall_day)
    loaded = list(stall_day.lines.select_related("lot", "lot__item").order_by("pk"))
    _check_loaded(loaded, brought_back)
    sold = [
        _sold(stall_day, line, quantity=line.quantity - brought_back.get(line.lot_id, 0),
              prices=prices, weight_unit=weight_unit)
        for line in loaded
        if line.quantity > brought_back.get(line.lot_id, 0)
    ]  # fmt: skip
    recorded = post_sale(
        doing,
        "settle stall",
        Deal(stall_day.place, stall_day=stall_day),
        lines=sold,
        # Every lot loaded is named, also one that was wholly brought back.
        beside=[LineDraft(line.lot, Role.COUNTED, 0) for line in loaded],
    )
    if recorded.fresh:
        _add_costs(recorded, doing, stall_day.place)
    return recorded


def settling_of(stall_day: StallDay) -> Sale | None:
    """Find the standing sale that settled a stall day; one query."""
    sales = Sale.objects.filter(stall_day=stall_day).select_related("entry")
    return sales.exclude(entry__amendments__takes_back=True).first()


# --- writing a sale --------------------------------------------------------------------------


def post_sale(
    doing: Doing,
    kind: str,
    deal: Deal,
    *,
    lines: Sequence[SoldLine],
    beside: Iterable[LineDraft] = (),
) -> Recorded:
    """Post one sale and write its money; ``beside``: lines of the book that sell nothing."""
    day = deal.stall_day.day if deal.stall_day else doing.day
    priced = [_priced(deal.place, day, line) for line in lines]
    sold = [LineDraft(line.lot, Role.SOLD, -line.quantity) for line in lines]
    said = {"terms": {line.lot.code: asdict(terms) for line, terms in priced}}
    recorded = post(doing, kind, [*beside, *sold], particulars=said)
    if recorded.fresh:
        _write_sale(recorded.entry, deal, priced)
    return recorded


def _priced(place: SellingPlace, day: date, line: SoldLine) -> tuple[SoldLine, Terms]:
    """Name the product of a line, and say on which terms it is sold."""
    card = need_stage(line.lot, *SELLABLE)
    line = replace(line, product=line.product or card.product)
    terms = terms_at(
        place, day, card=card, product=line.product, unit_money=line.unit_money,
        weight_unit=line.weight_unit,
    )  # fmt: skip
    return line, terms


def _write_sale(entry: Entry, deal: Deal, priced: Sequence[tuple[SoldLine, Terms]]) -> None:
    sale = Sale.objects.create(
        entry=entry, place=deal.place, customer=deal.customer, stall_day=deal.stall_day
    )
    takings = 0
    for line, terms in priced:
        amount = terms.of(line.quantity)
        takings += amount.gross
        SaleLine.objects.create(
            sale=sale,
            line=entry.lines.get(lot=line.lot, role=Role.SOLD),
            product=line.product,
            tax_ppm=terms.tax_ppm,
            **asdict(amount),
        )
    add_share_of_takings(entry, deal.place, takings)


def _missing(lines: Sequence[SoldLine]) -> list[LineDraft]:
    """Count up, without cost, what the book does not hold."""
    lots = Lot.objects.filter(pk__in=[line.lot.pk for line in lines])
    on_hand = dict(lots.values_list("pk", "quantity"))
    return [
        LineDraft(line.lot, Role.COUNTED, line.quantity - on_hand[line.lot.pk])
        for line in lines
        if line.quantity > on_hand[line.lot.pk]
    ]


# --- loading ---------------------------------------------------------------------------------


def _check_load(line: Draw) -> None:
    need_stage(line.lot, *SELLABLE)
    lot = Lot.objects.select_related("item").get(pk=line.lot.pk)
    if lot.held:
        raise OnHold(
            f"Lot {lot.code} is on hold and may not be loaded. Release it with a reason first, or "
            "load another lot.",
            [lot.code],
        )
    if line.quantity <= 0:
        raise Malformed(f"Lot {lot.code}: {line.quantity} cannot be loaded. State how much.")
    if line.quantity > lot.quantity:
        raise NotEnough(
            f"Lot {lot.code}: {_show(lot, line.quantity)} to load, {_show(lot, lot.quantity)} on "
            "hand. Load less, or record what made the rest first.",
            [lot.code],
            entry_seq=0,
        )
    _check_not_loaded(lot, line.quantity)


def _check_not_loaded(lot: Lot, quantity: int) -> None:
    """Refuse what another load holds already: what is on hand is loaded for one place."""
    loads = loads_of(lot)
    free = lot.quantity - sum(load.quantity for load in loads)
    if quantity > free:
        named = ", ".join(
            f"{_show(lot, load.quantity)} loaded for {load.stall_day.place} on "
            f"{load.stall_day.day} (entry {load.stall_day.entry_id})"
            for load in loads
        )
        raise NotEnough(
            f"Lot {lot.code}: {_show(lot, quantity)} to load, {_show(lot, max(0, free))} free: "
            f"{_show(lot, lot.quantity)} on hand, {named}. Load less, or settle that "
            "load or take it back first.",
            [lot.code],
            entry_seq=0,
        )


def _show(lot: Lot, quantity: int) -> str:
    return f"{quantity}" if lot.item.dimension == Dimension.COUNT else both(quantity)


# --- settling --------------------------------------------------------------------------------


def _check_unsettled(stall_day: StallDay) -> None:
    if stall_day.entry.amendments.filter(takes_back=True).exists():
        raise Malformed(
            f"The load of {stall_day.place} on {stall_day.day} (entry {stall_day.entry_id}) was "
            "taken back. Load the stall anew, then settle that."
        )
    settled = settling_of(stall_day)
    if settled:
        raise Malformed(
            f"{stall_day.place} on {stall_day.day} was settled already, by entry "
            f"{settled.entry_id}. Correct that entry, or take it back and settle anew."
        )


def _check_loaded(loaded: Sequence[LoadLine], brought_back: Mapping[int, int]) -> None:
    known = {line.lot_id for line in loaded}
    for lot in Lot.objects.filter(pk__in=set(brought_back) - known):
        raise Malformed(
            f"Lot {lot.code} was not loaded, {brought_back[lot.pk]} brought back. Take it off, or "
            "take it back from the sale that it was sold in.",
            [lot.code],
        )
    for line in loaded:
        back = brought_back.get(line.lot_id, 0)
        if not 0 <= back <= line.quantity:
            raise Malformed(
                f"Lot {line.lot.code}: {_show(line.lot, line.quantity)} loaded, "
                f"{_show(line.lot, back)} brought back. State between none and all of it.",
                [line.lot.code],
            )


def _sold(
    stall_day: StallDay,
    line: LoadLine,
    *,
    quantity: int,
    prices: Mapping[int, int],
    weight_unit: str,
) -> SoldLine:
    unit_money = prices.get(line.lot_id)
    if unit_money is None:
        unit_money = need_price(stall_day.place, stall_day.day, need_stage(line.lot, *SELLABLE))
    return SoldLine(line.lot, quantity, unit_money, weight_unit=weight_unit)


def _add_costs(recorded: Recorded, doing: Doing, place: SellingPlace) -> None:
    if place.day_fee_money:
        SellingCost.objects.create(
            entry=recorded.entry, place=place, what=FEE, amount=place.day_fee_money
        )
    add_hours(recorded.entry, doing, place)
