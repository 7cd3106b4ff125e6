"""One small farm for every test: `small_farm()`, then `grow_blocks(world)`, `picked(world)`.

Everything happens through the actions, an hour apart, from 7 September 2026, 8:00 UTC. Money,
people and names are invented; the two recipes are common practice, no source.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, NamedTuple
from uuid import uuid4

from django.contrib.auth.models import User
from django.utils import timezone

from farm.actions.common import Doing, Draw
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks, move_to_fruiting
from farm.actions.growing.cultures import buy_culture
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.actions.growing.harvesting import pick
from farm.actions.growing.runs import sterilise
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.actions.starting.starting import add_beliefs, add_strain
from farm.beliefs import PICKED, planned
from farm.models import (
    Customer,
    Farm,
    Form,
    PackKind,
    Person,
    PlaceKind,
    Price,
    Product,
    RateOf,
    Recipe,
    RecipeFor,
    RecipeVersion,
    Role,
    Room,
    SellingPlace,
    Shelf,
    Species,
    StandardTime,
    Steriliser,
    Strain,
    Supplier,
    Supply,
    Use,
    the_farm,
)
from ledger.checks import CHECKS
from ledger.models import Item, Lot
from tests.copied import copied

KG = 1_000_000
GRAM = 1_000
UNIT = 10_000  # one whole unit of the currency, in the book's money
FIRST_DAY = date(2026, 1, 1)
START = datetime(2026, 9, 7, 8, tzinfo=UTC)

RATES: dict[str, int] = {
    RateOf.PAID_HOUR: 15 * UNIT,
    RateOf.OWN_HOUR: 18 * UNIT,
    RateOf.KWH: 3_000,
    RateOf.BLOCK_DAY: 200,
}
# Money per kilogram or piece.
PAID = {
    "sawdust": 4_000,
    "rye": 6_000,
    "block bag": 2_500,
    "grain bag": 3_000,
    "punnet": 1_000,
    "culture": UNIT,
}


@dataclass
class World:
    """The farm's rows, and a clock that moves on an hour with each `doing()`."""

    farm: Farm
    owner: Person
    helper: Person
    strain: Strain  # oyster: 500, 200 and 60 g a block, 7 % planned loss
    other_strain: Strain  # lion's mane
    supplies: dict[str, Supply]
    grain_recipe: RecipeVersion
    block_recipe: RecipeVersion
    steriliser: Steriliser
    shelf: Shelf  # where blocks incubate
    fruiting_shelf: Shelf
    fridge_shelf: Shelf
    supplier: Supplier
    product: Product  # 200 g of fresh oyster in a punnet
    stall: SellingPlace
    kitchens: SellingPlace
    customer: Customer
    now: datetime = field(default=START)

    @property
    def today(self) -> date:
        """The day that it is where the farm is."""
        return self.now.astimezone(self.farm.zone).date()

    @property
    def species(self) -> Species:
        return self.strain.species

    def doing(self, *, by: Person | None = None, **said: Any) -> Doing:
        """Say who and when; ``said``: minutes, own, reason, sure."""
        self.now += timedelta(hours=1)
        return Doing(by=by or self.owner, happened_at=self.now, uuid=uuid4(), **said)

    def wait(self, days: int) -> None:
        self.now += timedelta(days=days)

    def received(
        self, name: str, quantity: int, paid_money: int | None = None, *, sure: bool = False
    ) -> Lot:
        """Receive mg or pieces of a supply, at the usual price unless another is stated."""
        supply = self.supplies[name]
        per = KG if supply.item.dimension == "mass" else 1
        recorded = receive_supplies(
            self.doing(sure=sure),
            supply=supply,
            quantity=quantity,
            paid_money=quantity * PAID[name] // per if paid_money is None else paid_money,
            delivery=Delivery(supplier=self.supplier, supplier_lot=f"{name} 26-31"),
        )
        return recorded.lots[0]


class Grown(NamedTuple):
    """Every lot from culture to blocks."""

    culture: Lot
    grain: Lot
    spawn: Lot
    bags: Lot
    blocks: Lot


@copied
def small_farm() -> World:
    farm = Farm.objects.first() or Farm.objects.create(
        name="Alder Lane", place="Lowfield", time_zone="Europe/Madrid", currency="EUR"
    )
    add_beliefs(RATES)
    # Selling takes no time here unless a test says so: what sales cost stays easy to work out.
    StandardTime.objects.filter(action__in=("sell", "load stall", "take back")).update(minutes=0)
    supplies = _supplies()
    strain = add_strain(planned("Oyster")._replace(flushes_are=PICKED), "Grey")
    stall = SellingPlace.objects.create(
        name="Saturday market", kind=PlaceKind.STALL, day_fee_money=25 * UNIT, day_minutes=420
    )
    kitchens = SellingPlace.objects.create(name="Kitchens", kind=PlaceKind.KITCHENS)
    return World(
        farm=farm,
        owner=_person("olive", Role.OWNER),
        helper=_person("hugo", Role.HELPER),
        strain=strain,
        other_strain=add_strain(planned("Lion's mane")._replace(flushes_are=PICKED), "White"),
        supplies=supplies,
        grain_recipe=_recipe(
            "Rye",
            RecipeFor.GRAIN,
            475 * GRAM,
            {supplies["rye"]: 885 * GRAM, supplies["grain bag"]: 1},
        ),
        block_recipe=_recipe(
            "Sawdust",
            RecipeFor.BLOCKS,
            1_293 * GRAM,
            {supplies["sawdust"]: 975 * GRAM, supplies["block bag"]: 1},
        ),
        steriliser=Steriliser.objects.create(name="Steam drum", max_gauge_kpa=110, run_wh=20_000),
        shelf=_shelf("Incubation"),
        fruiting_shelf=_shelf("Fruiting tent"),
        fridge_shelf=_shelf("Fridge"),
        supplier=Supplier.objects.create(name="Mill & Sons"),
        product=_product(strain.species, supplies["punnet"], [stall, kitchens]),
        stall=stall,
        kitchens=kitchens,
        customer=Customer.objects.create(name="The Anchor", place=kitchens),
    )


def grow_blocks(world: World, count: int = 40) -> Lot:
    return grow(world, count).blocks


@copied
def grow(world: World, count: int = 40) -> Grown:
    """Go the whole way, at 226.8 g of spawn a block; three weeks pass."""
    spawn_mg = 226_800 * count
    culture, grain, spawn = grow_spawn(world, -(-spawn_mg // (1_360 * GRAM)))
    world.wait(14)
    bags = filled_bags(world, count)
    blocks = inoculate_blocks(
        world.doing(), bags=bags, count=count, spawn=[Draw(spawn, spawn_mg)], shelf=world.shelf
    ).lots[-1]
    return Grown(culture, grain, spawn, bags, fresh(blocks))


@copied
def grow_spawn(world: World, bags: int = 7, strain: Strain | None = None) -> tuple[Lot, Lot, Lot]:
    """Culture, prepared grain and the spawn made of both; the grain is used up."""
    culture = buy_culture(
        world.doing(), strain=strain or world.strain, portions=20, paid_money=20 * PAID["culture"]
    ).lots[0]
    grain = prepared_grain(world, bags)
    run(world, grain)
    spawn = inoculate_grain(
        world.doing(), grain=grain, bags=bags, source=culture, amount=bags
    ).lots[-1]
    return fresh(culture), fresh(grain), fresh(spawn)


@copied
def prepared_grain(world: World, bags: int = 7) -> Lot:
    draws = [
        Draw(world.received("rye", bags * 885 * GRAM), bags * 885 * GRAM),
        Draw(world.received("grain bag", bags), bags),
    ]
    recorded = prepare_grain(world.doing(), recipe=world.grain_recipe, bags=bags, draws=draws)
    return fresh(recorded.lots[-1])


@copied
def filled_bags(world: World, count: int = 40, *, sterilised: bool = True) -> Lot:
    draws = [
        Draw(world.received("sawdust", count * 975 * GRAM), count * 975 * GRAM),
        Draw(world.received("block bag", count), count),
    ]
    recorded = fill_blocks(world.doing(), recipe=world.block_recipe, count=count, draws=draws)
    if sterilised:
        run(world, recorded.lots[-1])
    return fresh(recorded.lots[-1])


def run(world: World, *lots: Lot) -> None:
    sterilise(
        world.doing(),
        steriliser=world.steriliser,
        lots=lots,
        minutes_at_temperature=150,
        gauge_pa=103_000,
    )


@copied
def fruiting(world: World, count: int = 40) -> Lot:
    """Blocks moved to where they fruit, 16 days after inoculation."""
    blocks = grow_blocks(world, count)
    world.wait(16)
    move_to_fruiting(world.doing(), lot=blocks, shelf=world.fruiting_shelf)
    return fresh(blocks)


@copied
def picked(world: World, firsts_mg: int = 10 * KG, count: int = 40) -> Lot:
    """The firsts of a first flush, nine days after the move to fruiting."""
    blocks = fruiting(world, count)
    world.wait(9)
    return fresh(
        pick(
            world.doing(),
            given=[Draw(blocks, 0)],
            flush=1,
            firsts_mg=firsts_mg,
            shelf=world.fridge_shelf,
        ).lots[-1]
    )


def fresh(lot: Lot) -> Lot:
    """The lot as it is now: what an action returns was read before the book worked it."""
    return Lot.objects.select_related("item", "made_by").get(pk=lot.pk)


def farm_today() -> date:
    """Today where the farm is: for some hours of each day another date than in UTC."""
    return timezone.localdate(timezone=the_farm().zone)


def yesterday_morning() -> datetime:
    """Eight o'clock of the farm's day before today, in UTC.

    No hour in which the tests are run lies across the farm's midnight, or UTC's.
    """
    farm, day = the_farm(), farm_today() - timedelta(days=1)
    return datetime.combine(day, time(8), tzinfo=farm.zone).astimezone(UTC)


def assert_book_is_sound() -> None:
    broken = [f"{found.truth}: {found.broken}" for found in (c() for c in CHECKS) if found.broken]
    assert broken == []


def _person(name: str, role: Role) -> Person:
    known = Person.objects.filter(user__username=name).first()
    return known or Person.objects.create(
        user=User.objects.create_user(name), role=role, initials=name[:2].upper()
    )


def _supplies() -> dict[str, Supply]:
    """Sawdust and rye as dry as they are bought; moistures are common practice, no source."""

    def one(name: str, use: Use, moisture_ppm: int = 0, piece_mg: int = 0) -> Supply:
        item = Item.objects.create(name=name, dimension="count" if piece_mg else "mass")
        return Supply.objects.create(
            item=item, use=use, moisture_ppm=moisture_ppm, piece_mg=piece_mg
        )

    return {
        "sawdust": one("sawdust", Use.SUBSTRATE, moisture_ppm=80_000),
        "rye": one("rye", Use.GRAIN, moisture_ppm=120_000),
        "block bag": one("block bag", Use.BAGS, piece_mg=20 * GRAM),
        "grain bag": one("grain bag", Use.BAGS, piece_mg=20 * GRAM),
        "punnet": one("punnet", Use.PACKING, piece_mg=15 * GRAM),
    }


def _recipe(
    name: str, makes: RecipeFor, water_mg: int, per_bag: dict[Supply, int]
) -> RecipeVersion:
    recipe = Recipe.objects.create(name=name, makes=makes)
    version = RecipeVersion.objects.create(recipe=recipe, number=1, water_mg=water_mg)
    for supply, quantity in per_bag.items():
        version.lines.create(supply=supply, quantity=quantity)
    return version


def _shelf(room: str) -> Shelf:
    return Shelf.objects.create(room=Room.objects.create(name=room), name="1")


def _product(species: Species, punnet: Supply, places: list[SellingPlace]) -> Product:
    product = Product.objects.create(
        name="Oyster, 200 g",
        species=species,
        form=Form.FRESH,
        net_mg=200 * GRAM,
        pack=PackKind.OPEN,
        packaging=punnet,
        tax_ppm=40_000,
    )
    for place in places:
        Price.objects.create(product=product, place=place, from_day=FIRST_DAY, pack_money=5 * UNIT)
    return product
