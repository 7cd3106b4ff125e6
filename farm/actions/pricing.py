"""What a sale line comes to: net, tax and gross, each a whole number of cents.

Money is in 1/10,000 of the currency unit, so a cent is 100.
"""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from farm.models import LotCard, PlaceKind, Price, Product, SellingPlace, Stage
from farm.units import MONEY_PER_CENT, in_unit
from ledger.amounts import MILLION
from ledger.errors import Malformed

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
class Terms:
    """What was asked: ``unit_money`` a ``unit`` (pack, kg, lb); tax within it or on top of it."""

    unit_money: int
    unit: str
    tax_ppm: int
    tax_included: bool

    def of(self, quantity: int) -> Amount:
        """Work out a line: price x quantity, rounded half up to the cent, then its tax.

        With tax included the price is the gross: 31 packs at 4.50 with 10 % are 139.50 gross,
        139.50 / 1.1 = 126.8182, so 126.82 net and 12.68 tax. On top it is the net: 2.5 kg at
        15.99 are 39.975, so 39.98 net, 43.978 so 43.98 gross, and 4.00 tax. Net or gross, the
        one worked out is rounded half up to the cent; tax is the difference, so they add up.
        1 lb (453,592 mg) at 12.00 a pound is 12.00.
        """
        units = Fraction(quantity) if self.unit == PACK else in_unit(quantity, self.unit)
        return self.split(to_cent(self.unit_money * units.numerator, units.denominator))

    def split(self, asked_money: int) -> Amount:
        """Split what was asked for a whole line into net, tax and gross."""
        whole = MILLION + self.tax_ppm
        if self.tax_included:
            gross, net = asked_money, to_cent(asked_money * MILLION, whole)
        else:
            gross, net = to_cent(asked_money * whole, MILLION), asked_money
        return Amount(net, gross - net, gross)


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
    card: LotCard,
    product: Product | None,
    unit_money: int,
    weight_unit: str,
) -> Terms:
    """Say on which terms a lot is sold at a place on a day.

    The price is for a pack, or for a kg or lb (``weight_unit``) of what is loose. Tax is included
    at a stall, the door and in boxes and comes on top for kitchens, unless the product's price
    row of the day says otherwise. What is sold loose without naming a product carries no tax.
    """
    price = price_on(place, day, product)
    included = price.tax_included if price else place.kind != PlaceKind.KITCHENS
    return Terms(
        unit_money=unit_money,
        unit=PACK if card.stage == Stage.PACKS else weight_unit,
        tax_ppm=product.tax_ppm if product else 0,
        tax_included=included,
    )


def price_on(place: SellingPlace, day: date, product: Product | None) -> Price | None:
    """Find the price of a product in force at a place on a day; one query."""
    prices = Price.objects.filter(product=product, place=place, from_day__lte=day)
    return prices.order_by("-from_day").first()


def need_price(place: SellingPlace, day: date, card: LotCard) -> int:
    """Return the price of a pack in force, or refuse and name the remedy."""
    price = price_on(place, day, card.product)
    if price is None:
        raise Malformed(
            f"Lot {card.lot.code}: no price of {card.product or 'what is loose'} at {place} is "
            f"known on {day}. State the price, or add it under Look-ups, prices.",
            [card.lot.code],
        )
    return price.pack_money
