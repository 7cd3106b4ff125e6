"""The invented farm before its year begins: people, species, recipes, shelves, customers.

Everything here is made up, down to the prices; nothing is measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from farm.actions.lookups.lookups import Look
from farm.actions.signing import set_pin
from farm.actions.starting.starting import Account, add_person, start_farm
from farm.models import (
    AgreedPrice,
    Customer,
    Farm,
    Form,
    Grade,
    Loose,
    PackKind,
    Person,
    PlaceKind,
    Price,
    Product,
    Rate,
    RateOf,
    Recipe,
    RecipeFor,
    RecipeLine,
    RecipeVersion,
    Role,
    Room,
    SalesTax,
    SellingPlace,
    Shelf,
    Species,
    Steriliser,
    Strain,
    Supplier,
    Supply,
    Token,
    Use,
)
from ledger import book

KG, GRAM, COIN = 1_000_000, 1_000, 10_000
ACCOUNTS = (
    ("nora", "two-alders-owner", Role.OWNER),
    ("tam", "two-alders-helper", Role.HELPER),
    ("iris", "two-alders-bookkeeper", Role.BOOKKEEPER),
    ("sol", "two-alders-seller", Role.SELLER),
    ("vera", "two-alders-inspector", Role.INSPECTOR),
)
# At a shared tablet.
PINS = {"nora": "2580", "tam": "4711", "sol": "1379"}
# The inspector looks at the last three months of the year.
LOOK_FROM, LOOK_UNTIL = timedelta(days=274), timedelta(days=364)


@dataclass
class Scenery:
    """Everything the year needs to find again, by a short name."""

    people: dict[str, Person]
    strains: dict[str, Strain]
    trial: Strain
    supplies: dict[str, Supply]
    suppliers: dict[str, Supplier]
    grain: RecipeVersion
    blocks: dict[str, RecipeVersion]
    steriliser: Steriliser
    shelves: dict[str, Shelf]
    places: dict[str, SellingPlace]
    customers: list[Customer]
    products: dict[str, Product]


def build(first_day: date) -> Scenery:
    """Set the farm up as its owner would on the first day."""
    people = _people(first_day)
    _rates(first_day)
    strains = _strains()
    supplies = _supplies()
    places = _places()
    customers = _customers(places)
    _agree_prices(customers, strains, first_day)
    return Scenery(
        people=people,
        strains=strains,
        trial=_trial_strain(strains["oyster"]),
        supplies=supplies,
        suppliers={
            name: Supplier.objects.create(name=name, contact=contact)
            for name, contact in (
                ("Harrow Sawmill", "0555 0101"),
                ("Brook Mill", "0555 0102"),
                ("Lantern Packaging", "orders@lantern.example"),
                ("Kestrel Cultures", "lab@kestrel.example"),
            )
        },
        grain=_grain_recipe(supplies),
        blocks=_block_recipes(supplies),
        steriliser=Steriliser.objects.create(
            name="Upright steam vessel", pressurised=True, max_gauge_kpa=150, run_wh=21_000
        ),
        shelves=_shelves(),
        places=places,
        customers=customers,
        products=_products(strains, supplies, places=places, first_day=first_day),
    )


def _people(first_day: date) -> dict[str, Person]:
    farm = Farm(
        name="Two Alders",
        place="Mill Lane 7, Varnby (invented)",
        time_zone="Europe/Dublin",
        currency="EUR",
        weight_unit="kg",
        altitude_m=85,
        tax_number="XX 0000000 (invented)",
        exemption_words="Fresh food carries no tax here (invented rule).",
        pay_to="Varnby Bank, account 00 0000 0000 (invented)",
        is_demo=True,
    )
    (name, password, _), *others = ACCOUNTS
    people = {name: start_farm(farm, Account(name, password))}
    look = Look(first_day + LOOK_FROM, first_day + LOOK_UNTIL, date(2099, 12, 31))
    for name, password, role in others:
        people[name] = add_person(Account(name, password), role, look)
    for name, pin in PINS.items():
        set_pin(people[name], pin)
    return people


def _rates(first_day: date) -> None:
    for of, money in (
        (RateOf.PAID_HOUR, 14 * COIN),
        (RateOf.OWN_HOUR, 16 * COIN),
        (RateOf.KWH, 2_900),
        (RateOf.BLOCK_DAY, 120),
    ):
        Rate.objects.update_or_create(of=of, from_day=first_day, defaults={"rate_money": money})


def _strains() -> dict[str, Strain]:
    """Days: spawn run, first pick, gap. Grams per block of the first and second flush."""
    rows = {
        "oyster": ("Grey oyster", "Pleurotus ostreatus", 6, (14, 20, 10), (460, 190), 50_000),
        "mane": ("Lion's mane", "Hericium erinaceus", 8, (18, 28, 14), (430, 170), 60_000),
        "shiitake": ("Shiitake", "Lentinula edodes", 12, (56, 63, 18), (400, 210), 70_000),
    }
    strains = {}
    for key, (name, latin, keeps, days, grams, loss) in rows.items():
        species = Species.objects.create(
            name=name,
            latin=latin,
            moisture_ppm=900_000,
            fridge_days=keeps,
            water_loss_ppm=15_000,
        )
        strains[key] = Strain.objects.create(
            species=species,
            name="house line",
            source="Kestrel Cultures (invented)",
            spawn_run_days=days[0],
            first_pick_days=days[1],
            flush_gap_days=days[2],
            first_mg=grams[0] * GRAM,
            second_mg=grams[1] * GRAM,
            planned_loss_ppm=loss,
        )
    return strains


def _trial_strain(house: Strain) -> Strain:
    """A second line of the house's oyster, planned as the first until it is known better."""
    trial = Strain.objects.get(pk=house.pk)
    trial.pk, trial.name = None, "trial line"
    trial.save()
    return trial


def _supplies() -> dict[str, Supply]:
    rows = (
        ("Alder sawdust pellets", Use.SUBSTRATE, "mass", 80_000, 0),
        ("Wheat bran", Use.SUBSTRATE, "mass", 120_000, 0),
        ("Gypsum", Use.SUBSTRATE, "mass", 0, 0),
        ("Rye grain", Use.GRAIN, "mass", 120_000, 0),
        ("Filter-patch bags", Use.BAGS, "count", 0, 32 * GRAM),
        ("Malt agar dishes", Use.CULTURE, "count", 0, 25 * GRAM),
        ("Card punnets", Use.PACKING, "count", 0, 14 * GRAM),
        ("Dry pouches", Use.PACKING, "count", 0, 9 * GRAM),
    )
    return {
        name: Supply.objects.create(
            item=book.item_named(name, dimension), use=use, moisture_ppm=moisture, piece_mg=piece
        )
        for name, use, dimension, moisture, piece in rows
    }


def _recipe(name: str, makes: str, *, water_g: int, lines: dict[Supply, int]) -> RecipeVersion:
    version = RecipeVersion.objects.create(
        recipe=Recipe.objects.create(name=name, makes=makes), number=1, water_mg=water_g * GRAM
    )
    for supply, quantity in lines.items():
        RecipeLine.objects.create(version=version, supply=supply, quantity=quantity)
    return version


def _grain_recipe(supplies: dict[str, Supply]) -> RecipeVersion:
    lines = {supplies["Rye grain"]: 1_050 * GRAM, supplies["Filter-patch bags"]: 1}
    return _recipe("Rye bag", RecipeFor.GRAIN, water_g=750, lines=lines)


def _block_recipes(supplies: dict[str, Supply]) -> dict[str, RecipeVersion]:
    recipes = {}
    for key, name, bran_g in (("rich", "Alder and bran", 170), ("lean", "Alder, lean", 90)):
        lines = {
            supplies["Alder sawdust pellets"]: (950 - bran_g) * GRAM,
            supplies["Wheat bran"]: bran_g * GRAM,
            supplies["Gypsum"]: 15 * GRAM,
            supplies["Filter-patch bags"]: 1,
        }
        recipes[key] = _recipe(name, RecipeFor.BLOCKS, water_g=1_335, lines=lines)
    return recipes


def _shelves() -> dict[str, Shelf]:
    rooms = {
        "store": ("Store", "dry goods", 0),
        "incubation": ("Warm room", "incubation", 400),
        "fruiting": ("Mist room", "fruiting", 160),
        "fridge": ("Cold room", "fresh stock", 0),
        "jars": ("Dry shelf", "dried, in jars and pouches", 0),
    }
    return {
        key: Shelf.objects.create(
            room=Room.objects.create(name=name, purpose=purpose), name="main", holds_blocks=places
        )
        for key, (name, purpose, places) in rooms.items()
    }


def _places() -> dict[str, SellingPlace]:
    rows = {
        "stall": ("Varnby Saturday market", PlaceKind.STALL, 22 * COIN, 0, 330),
        "fair": ("Harbour Sunday fair", PlaceKind.STALL, 0, 60_000, 120),
        "kitchens": ("Kitchens", PlaceKind.KITCHENS, 0, 0, 20),
        "boxes": ("Thursday boxes", PlaceKind.BOXES, 0, 0, 20),
    }
    places = {
        key: SellingPlace.objects.create(
            name=name, kind=kind, day_fee_money=fee, fee_ppm=ppm, day_minutes=minutes
        )
        for key, (name, kind, fee, ppm, minutes) in rows.items()
    }
    stalls = SellingPlace.objects.filter(kind=PlaceKind.STALL)
    stalls.update(float_money=80 * COIN, card_fee_ppm=17_500, discount_ppm=200_000)
    Token.objects.create(
        name="Market token",
        place=places["stall"],
        value_money=5 * COIN,
        issuer="Varnby market association (invented)",
    )
    return {key: SellingPlace.objects.get(pk=place.pk) for key, place in places.items()}


def _customers(places: dict[str, SellingPlace]) -> list[Customer]:
    rows = (
        ("The Ferry House", "kitchens", "0555 0201", 2, "back door, before 11"),
        ("Café Lindqvist", "kitchens", "0555 0202", 1, ""),
        ("Rook & Barley", "kitchens", "0555 0203", 3, "ring twice"),
        ("Hillside box scheme", "boxes", "boxes@hillside.example", 4, ""),
    )
    return [
        Customer.objects.create(
            name=name,
            place=places[place],
            contact=contact,
            address="Varnby (invented)",
            stop=stop,
            stop_note=note,
            least_days=0 if stop == 4 else 1,
        )
        for name, place, contact, stop, note in rows
    ]


def _agree_prices(
    customers: Sequence[Customer], strains: dict[str, Strain], first_day: date
) -> None:
    """What is loose is agreed a kilogram; one kitchen pays less for oyster from the autumn on.

    The same kitchen takes trim for its stock, at a price of its own. What is dried has
    a price and a sales tax of its own; the tax rises in the middle of a month.
    """
    for key in ("oyster", "mane", "shiitake"):
        species = strains[key].species
        AgreedPrice.objects.create(
            customer=customers[1],
            species=species,
            state=Loose.DRIED,
            from_day=first_day,
            unit_money=170 * COIN,
        )
        for from_day, rate_ppm in ((first_day, 90_000), (_tax_rises(first_day), 100_000)):
            SalesTax.objects.create(
                species=species, state=Loose.DRIED, from_day=from_day, rate_ppm=rate_ppm
            )
    for customer in customers:
        for key, coins in (("oyster", 17), ("mane", 23), ("shiitake", 21)):
            AgreedPrice.objects.create(
                customer=customer,
                species=strains[key].species,
                from_day=first_day,
                unit_money=coins * COIN,
                tax_included=customer.place.kind == PlaceKind.BOXES,
            )
    oyster = strains["oyster"].species
    AgreedPrice.objects.create(
        customer=customers[0],
        species=oyster,
        from_day=first_day + timedelta(weeks=36),
        unit_money=16 * COIN,
    )
    AgreedPrice.objects.create(
        customer=customers[0],
        species=oyster,
        grade=Grade.TRIM,
        from_day=first_day,
        unit_money=4 * COIN,
    )


def _tax_rises(first_day: date) -> date:
    """In the middle of a month: who enters a sale of the days before it late is not taxed more."""
    return (first_day + timedelta(weeks=40)).replace(day=16)


def _products(
    strains: dict[str, Strain],
    supplies: dict[str, Supply],
    *,
    places: dict[str, SellingPlace],
    first_day: date,
) -> dict[str, Product]:
    products = {}
    prices = {"oyster": 440, "mane": 590, "shiitake": 520}
    for key, cents in prices.items():
        species = strains[key].species
        products[key] = Product.objects.create(
            name=f"{species.name}, 200 g punnet",
            species=species,
            form=Form.FRESH,
            net_mg=200 * GRAM,
            pack=PackKind.OPEN,
            packaging=supplies["Card punnets"],
            tare_mg=9 * GRAM,
            label_text="Keep the lid off; cook before eating.",
        )
        products[f"dried {key}"] = Product.objects.create(
            name=f"Dried {species.name.lower()}, 30 g pouch",
            species=species,
            form=Form.DRIED,
            net_mg=30 * GRAM,
            pack=PackKind.AIRTIGHT,
            packaging=supplies["Dry pouches"],
            tax_ppm=90_000,
        )
        products[f"dried {key}"].sales_taxes.create(
            from_day=_tax_rises(first_day), rate_ppm=100_000
        )
        # The product's own price holds wherever a place has no list.
        for place in (*places.values(), None):
            for name, money in ((key, cents), (f"dried {key}", cents + 270)):
                Price.objects.create(
                    product=products[name], place=place, from_day=first_day, pack_money=money * 100
                )
    return products
