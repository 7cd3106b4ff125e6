"""What a sale line comes to: net, tax and gross, each a whole number of cents.

Money is in 1/10,000 of the currency unit, so a cent is 100.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Protocol

from farm import habits
from farm.kinds.selling import LineTerms
from farm.models import (
    Customer,
    LotCard,
    PlaceKind,
    Price,
    Product,
    SellingPlace,
    Stage,
    sales_tax_ppm,
)
from farm.queries.selling.prices import Listed, listed_price
from farm.refusals import MendedInDetails
from farm.units import MONEY_PER_CENT, in_unit
from ledger.amounts import MILLION

PACK = "pack"


@dataclass(frozen=True)
class Amount:
    """net + tax = gross, in money."""

    net: int
    tax: int
    gross: int

    def minus(self, other: "Amount") -> "Amount":
        return Amount(self.net - other.net, self.tax - other.tax, self.gross - other.gross)


NOTHING = Amount(0, 0, 0)


@dataclass(frozen=True)
class Terms(LineTerms):
    """The terms of a line, and what it comes to on them."""

    def of(self, quantity: int) -> Amount:
        """Work out a line: price x quantity, rounded half up to the cent, less discount, then tax.

        With tax included the price is the gross: 31 packs at 4.50 with 10 % are 139.50 gross,
        139.50 / 1.1 = 126.8182, so 126.82 net and 12.68 tax. On top it is the net: 2.5 kg at
        15.99 are 39.975, so 39.98 net, 43.978 so 43.98 gross, and 4.00 tax. Net or gross, the
        one worked out is rounded half up to the cent; tax is the difference, so they add up.
        1 lb (453,592 mg) at 12.00 a pound is 12.00. A discount is rounded half up to the cent as
        well: 5 % of 39.98 is 1.999, so 2.00 off, and 37.98 net.
        """
        units = self._units(quantity)
        listed = to_cent(self.unit_money * units.numerator, units.denominator)
        return self.split(listed - to_cent(listed * self.discount_ppm, MILLION))

    def _units(self, quantity: int) -> Fraction:
        if self.whole_of:
            return Fraction(quantity, self.whole_of)
        return Fraction(quantity) if self.unit == PACK else in_unit(quantity, self.unit)

    def split(self, asked_money: int) -> Amount:
        """Split what was asked for a whole line into net, tax and gross."""
        whole = MILLION + self.tax_ppm
        if self.tax_included:
            gross, net = asked_money, to_cent(asked_money * MILLION, whole)
        else:
            gross, net = to_cent(asked_money * whole, MILLION), asked_money
        return Amount(net, gross - net, gross)


def shared_out(terms: Terms, quantities: Iterable[int]) -> list[Amount]:
    """Price a line that lots share as the whole that it is; the parts add up to it.

    Each running sum is rounded, so that a part is what the next lot adds. 2.5 kg at 17.00, of
    1.245 and 1.255 kg, are 42.50: 21.165 so 21.17, and 21.33 to 42.50, where 21.335 alone would
    be 21.34, and both together 42.51.
    """
    parts, before, running = [], NOTHING, 0
    for quantity in quantities:
        running += quantity
        so_far = terms.of(running)
        parts.append(so_far.minus(before))
        before = so_far
    return parts


def to_cent(numerator: int, denominator: int) -> int:
    """Divide money, rounded half up to the cent, a return like its sale: 0.125 is 0.13, and -0.13.

    to_cent(2_500, 2) is 1_300: half of 0.25.
    """
    step = denominator * MONEY_PER_CENT
    cents = (2 * abs(numerator) + step) // (2 * step)
    return MONEY_PER_CENT * (cents if numerator >= 0 else -cents)


def terms_at(
    place: SellingPlace,
    day: date,
    *,
    customer: Customer | None,
    card: LotCard,
    product: Product | None,
    line: "Asked",
) -> Terms:
    """Say on which terms a lot is sold at a place, to a customer, on a day.

    The price is for a pack, or for a kg or lb of what is loose. Tax is included at a stall, the
    door and in boxes and comes on top for kitchens, unless what is agreed with the customer, or
    listed, on the day says otherwise. Its rate is that of the day, of what the goods are.
    """
    packed = card.stage == Stage.PACKS
    listed = listed_price(place, day, customer=customer, what=product if packed else card.goods)
    taxed = product or card.goods
    included = listed.tax_included if listed else place.kind != PlaceKind.KITCHENS
    return Terms(
        unit_money=line.unit_money,
        unit=PACK if packed else line.weight_unit,
        tax_ppm=sales_tax_ppm(taxed, day) if taxed else 0,
        tax_included=included,
        discount_ppm=line.discount_ppm,
    )


class Asked(Protocol):
    """What a line of a sale says of its price."""

    @property
    def unit_money(self) -> int: ...
    @property
    def weight_unit(self) -> str: ...
    @property
    def discount_ppm(self) -> int: ...


def need_price(
    place: SellingPlace, day: date, *, card: LotCard, customer: Customer | None = None
) -> Listed:
    """Return what is agreed or listed for what a lot is, or refuse and name the remedy."""
    what = card.goods
    listed = listed_price(place, day, customer=customer, what=what)
    if listed is None:
        raise MendedInDetails(
            f"Lot {card.lot.code}: no price of {what or 'what is loose'} at {place} is "
            f"known on {habits.day(day)}. State the price, or add it under Farm details, prices.",
            [card.lot.code],
            of=Price,
        )
    return listed
