"""Sell to a customer, at the door or in a box, and take back what comes back.

A sale is one entry of the book; its money stands beside it in SaleLine rows, and what selling
cost (hours, fees) in SellingCost rows: it belongs to the place, not to stock.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date

from farm.actions.common import Doing, Draw, need_stage, post
from farm.actions.doubts import nobody_doubt, sale_price_doubt, too_old_doubt
from farm.actions.hold_refusals import refuse_held
from farm.actions.idempotency import action
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import PlausibilityQuestion, answered
from farm.actions.selling.pricing import Amount, Terms, shared_out, terms_at
from farm.actions.selling.takings import (
    add_hours,
    add_sale_line,
    add_share_of_takings,
    sold_line,
    to_give_back,
    total,
)
from farm.kinds.kind import Kind
from farm.kinds.selling import SELL, SELLABLE, TAKE_BACK, SaleTerms
from farm.models import (
    Customer,
    Order,
    Product,
    Sale,
    SaleLine,
    SellingPlace,
    StallDay,
)
from farm.queries.selling.prices import listed_price
from ledger.amounts import MILLION
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Entry, Lot, Role

WHOLE = "for all of it"


@dataclass(frozen=True)
class SoldLine:
    """So much of a lot, in its own unit; the price of a pack, or of what is loose by weight.

    ``weight_unit``: kg or lb, the unit that the price of what is loose was stated for.
    ``discount_ppm``: what is let off the line. ``whole_money``: what is asked for the whole line,
    tax in it, in place of its price: its part of a box, or with something taken off; or, of lots
    that share a line, what is asked for ``whole_of`` of them together.
    """

    lot: Lot
    quantity: int
    unit_money: int
    product: Product | None = None
    weight_unit: str = "kg"
    discount_ppm: int = 0
    whole_money: int | None = None
    whole_of: int = 0


@dataclass(frozen=True)
class Deal:
    """Where and to whom: a named customer, or a stall day on which nobody's name is known."""

    place: SellingPlace
    customer: Customer | None = None
    stall_day: StallDay | None = None


@dataclass(frozen=True)
class Priced:
    """A line with its product named, the terms it is sold on, and what it comes to."""

    line: SoldLine
    terms: Terms
    amount: Amount


@action
def sell(
    doing: Doing,
    *,
    place: SellingPlace,
    customer: Customer | None = None,
    lines: Sequence[SoldLine],
    count_up: bool = False,
    promised: tuple[Order, date] | None = None,
) -> Recorded:
    """Sell from named lots at the prices asked; each line is split into net, tax and gross.

    Asks (PlausibilityQuestion) before it sells what is set aside for another order than
    ``promised`` or past its days, to nobody where customers have names, and about a price ten
    times what is listed, or a tenth of it. What is on hold is refused before anything is asked.

    Beyond what the book holds it is refused (NotEnough); with ``count_up`` what is missing is
    counted up without cost in the same entry. The hours (`takings.add_hours`) and the share of
    takings are selling costs of the place.
    """
    _check_discounts(lines)
    draws = [Draw(line.lot, line.quantity) for line in lines]
    refuse_held(doing, [line.lot for line in lines], "sold")
    doubts = [_price_doubt(Deal(place, customer), doing.day, line) for line in lines]
    old = too_old_doubt([line.lot for line in lines], doing.day)
    nobody = nobody_doubt(place, customer)
    doing = answered(doing, nobody, set_aside_doubt(draws, besides=promised), old, *doubts)
    counted = _missing(lines) if count_up else []
    recorded = post_sale(doing, SELL, Deal(place, customer), lines=lines, beside=counted)
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
    recorded = post(doing, TAKE_BACK, [LineDraft(sold.lot, Role.BACK, quantity, returns=sold)])
    if recorded.fresh:
        amount = total(part for _, part in to_give_back(sold))
        add_sale_line(sale, recorded.entry.lines.get(), amount, like=sale_line)
        add_share_of_takings(recorded.entry, sale.place, amount.gross)
        add_hours(recorded.entry, doing, sale.place)
    return recorded


def _price_doubt(deal: Deal, day: date, line: SoldLine) -> PlausibilityQuestion | None:
    """Hold a price against what is agreed or listed, where both are of the same unit."""
    goods = line.lot.card.goods
    listed = listed_price(deal.place, day, customer=deal.customer, what=goods)
    if listed is None or line.whole_money is not None:
        return None
    if not isinstance(goods, Product) and listed.weight_unit != line.weight_unit:
        return None
    return sale_price_doubt(line.lot, line.unit_money, listed=listed)


# --- writing a sale --------------------------------------------------------------------------


def post_sale(
    doing: Doing,
    kind: Kind,
    deal: Deal,
    *,
    lines: Sequence[SoldLine],
    beside: Iterable[LineDraft] = (),
    said: SaleTerms | None = None,
) -> Recorded:
    """Post one sale and write its money.

    ``beside``: lines of the book that sell nothing; ``said``: further particulars.
    """
    day = deal.stall_day.day if deal.stall_day else doing.day
    sold = priced(deal, day, lines)
    drafts = [LineDraft(line.lot, Role.SOLD, -line.quantity) for line in lines]
    terms = {one.line.lot.code: one.terms for one in sold}
    said = replace(said or SaleTerms(terms={}), terms=terms)
    recorded = post(doing, kind, [*beside, *drafts], particulars=said)
    if recorded.fresh:
        _write_sale(recorded.entry, deal, sold)
    return recorded


def priced(deal: Deal, day: date, lines: Iterable[SoldLine]) -> list[Priced]:
    """Say what lines come to. The same goods on the same terms are one line, whatever the lots."""
    asked = [_on_terms(deal, day, line) for line in lines]
    alike: dict[object, list[int]] = defaultdict(list)
    for at, (line, terms) in enumerate(asked):
        # What is asked for all of one lot is a line of its own.
        alone = at if terms.whole_of and not line.whole_of else None
        alike[line.lot.item_id, line.product, terms, alone].append(at)
    amounts: dict[int, Amount] = {}
    for places in alike.values():
        terms = asked[places[0]][1]
        parts = shared_out(terms, [asked[at][0].quantity for at in places])
        amounts |= zip(places, parts, strict=True)
    return [Priced(line, terms, amounts[at]) for at, (line, terms) in enumerate(asked)]


def _on_terms(deal: Deal, day: date, line: SoldLine) -> tuple[SoldLine, Terms]:
    """Name the product of a line, and say on which terms it is sold."""
    card = need_stage(line.lot, *SELLABLE)
    line = replace(line, product=line.product or card.product)
    terms = terms_at(
        deal.place, day, customer=deal.customer, card=card, product=line.product, line=line
    )
    if line.whole_money is not None:
        whole_of = line.whole_of or line.quantity
        terms = Terms(line.whole_money, WHOLE, terms.tax_ppm, True, whole_of=whole_of)
    return line, terms


def _write_sale(entry: Entry, deal: Deal, sold: Sequence[Priced]) -> None:
    sale = Sale.objects.create(
        entry=entry, place=deal.place, customer=deal.customer, stall_day=deal.stall_day
    )
    for one in sold:
        SaleLine.objects.create(
            sale=sale,
            line=entry.lines.get(lot=one.line.lot, role=Role.SOLD),
            product=one.line.product,
            tax_ppm=one.terms.tax_ppm,
            **asdict(one.amount),
        )
    add_share_of_takings(entry, deal.place, total(one.amount for one in sold).gross)


def _check_discounts(lines: Sequence[SoldLine]) -> None:
    for line in lines:
        if not 0 <= line.discount_ppm <= MILLION:
            raise Malformed(
                f"Lot {line.lot.code}: a discount of {line.discount_ppm / 10_000:g} % cannot be. "
                "State between 0 and 100 %.",
                [line.lot.code],
            )


def _missing(lines: Sequence[SoldLine]) -> list[LineDraft]:
    """Count up, without cost, what the book does not hold."""
    lots = Lot.objects.filter(pk__in=[line.lot.pk for line in lines])
    on_hand = dict(lots.values_list("pk", "quantity"))
    return [
        LineDraft(line.lot, Role.COUNTED, line.quantity - on_hand[line.lot.pk])
        for line in lines
        if line.quantity > on_hand[line.lot.pk]
    ]
