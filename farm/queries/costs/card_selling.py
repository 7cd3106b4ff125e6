"""What the farm knows of selling a pack: days at each place, prices asked, what is sold beside."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from farm.models import ByProductWay, PlaceKind, Price, Product, SellingPlace
from farm.planning.card import MILLION
from farm.planning.inputs import ALONE, Known
from farm.queries.costs.card_choice import Choice
from farm.queries.growing.experience import usual_days_mg


@dataclass(frozen=True)
class PlaceInputs:
    """What is known of selling at a place, and what a pack costs there now."""

    place: SellingPlace
    values: dict[str, Known]
    asked_money: int | None


def selling_inputs(
    product: Product, day: date, places: Iterable[SellingPlace]
) -> list[PlaceInputs]:
    """What selling a pack comes to at each place on a day; two queries."""
    days, asked = usual_days_mg(), _asked_prices(product, day)
    for_all = asked.get(None)
    return [
        PlaceInputs(
            place,
            _place_values(place, *days.get(place.pk, (0, 0))),
            asked.get(place.pk, for_all),
        )
        for place in places
    ]


def beside_inputs(product: Product, here: PlaceInputs) -> dict[str, Known]:
    """What is sold beside the crop: nothing until it is typed; counted as the farm counts it.

    The crop is worth what is asked for it where it is sold, net of tax.
    """
    none = Known(0, "none sold, unless you say otherwise")
    asked = here.asked_money or 0
    net = Fraction(asked * MILLION, product.net_mg) / (1 + Fraction(product.tax_ppm, MILLION))
    worth = Known(round(net), "what is asked for it now, net of tax") if asked else none
    return {**dict.fromkeys(ALONE, none), "crop_kg_money": worth}


def way_of_counting(choice: Choice, usual: ByProductWay) -> Known:
    """Whether what is sold beside is taken off the cost of the crop: 1, or shares it: 0.

    As the farm usually counts it, unless it was chosen.
    """
    chosen = ByProductWay(choice.beside) if choice.beside else None
    source = "chosen for this card" if chosen else "farm details: by-products"
    return Known(int((chosen or usual) is ByProductWay.TAKEN_OFF), source)


def _asked_prices(product: Product, day: date) -> dict[int | None, int]:
    """What a customer pays for a pack by place, tax in it, rounded half to even; one query.

    None: at all places that have no price of their own, as a sale finds it.
    """
    rows = Price.objects.filter(product=product, from_day__lte=day).order_by("from_day")
    # A later price goes over an earlier one.
    return {
        row.place_id: round(
            row.pack_money
            * Fraction(MILLION + (0 if row.tax_included else product.tax_ppm), MILLION)
        )
        for row in rows
    }


def _place_values(place: SellingPlace, day_mg: int, days: int) -> dict[str, Known]:
    """What a day at a selling place costs, and how much is sold there on one."""
    believed = 20_000_000 if place.kind == PlaceKind.STALL else 8_000_000
    look_up = "farm details: the selling place"
    return {
        "day_fee_money": Known(place.day_fee_money, look_up),
        "takings_ppm": Known(place.fee_ppm, look_up),
        "day_seconds": Known(place.day_minutes * 60, look_up),
        "card_ppm": Known(0, "none stated"),
        "day_mg": Known(day_mg, f"own: {days} days there")
        if day_mg
        else Known(believed, "a start, from no record: 20 kg a stall day, 8 kg a delivery"),
    }
