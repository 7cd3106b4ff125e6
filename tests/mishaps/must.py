"""What must be true after a mishap, worked by hand where it is told, and asked of the book."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime

from farm.models import Farm, Price, Rate, RateOf, Strain
from ledger.models import Lot
from tests.farm.costed import costless_farm
from tests.farm.sold import may_invoice
from tests.farm.world import GRAM, KG, UNIT, World, fresh

__all__ = ["GRAM", "KG", "UNIT", "World", "fresh"]
FIRST_DAY = date(2023, 1, 1)


@dataclass(frozen=True)
class Must:
    """``comes_to`` is asked when the year is over: what came later may not have changed it."""

    what: str
    comes_to: Callable[[], object]
    by_hand: object


Mishap = Callable[[World], list[Must]]


def whole_cost(lot: Lot) -> int:
    """What a lot carries now, in ten-thousandths."""
    return sum(fresh(lot).cost)


def costs_come_to(what: str, lots: list[Lot], by_hand: list[int]) -> Must:
    return Must(what, lambda: [whole_cost(lot) for lot in lots], by_hand)


def was(what: str, found: object, by_hand: object) -> Must:
    """What was found at the time, whatever came later."""
    return Must(what, lambda: found, by_hand)


@dataclass(frozen=True)
class Country:
    """Where the farm is, in what it weighs and is paid, and how it writes."""

    time_zone: str
    weight_unit: str
    currency: str
    habit: str = "point"


MADRID = Country("Europe/Madrid", "kg", "EUR")
# A day ahead of UTC for half of each, and its summer is in December.
AUCKLAND = Country("Pacific/Auckland", "lb", "NZD")


def bad_farm(
    start: datetime = datetime(2023, 9, 4, 8, tzinfo=UTC), country: Country = MADRID
) -> World:
    """A farm where nothing costs but what a mishap says; 500 and 200 g are planned a block."""
    Farm.objects.create(name="Alder Lane", place="Lowfield", **asdict(country))
    world = costless_farm()
    may_invoice(world)
    world.now = start
    Strain.objects.update(first_mg=500 * GRAM, second_mg=200 * GRAM, third_mg=0)
    world.strain.refresh_from_db()
    for place in (world.stall, world.kitchens):
        Price.objects.create(
            product=world.product, place=place, from_day=FIRST_DAY, pack_money=5 * UNIT
        )
    return world


def rate(world: World, of: RateOf, money: int) -> None:
    """From the world's day on a rate is another."""
    Rate.objects.create(of=of, from_day=world.today, rate_money=money)
