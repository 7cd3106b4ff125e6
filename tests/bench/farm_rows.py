"""The farm's own rows beside a generated book: cards, suppliers, customers, sales, stall loads."""

import random
from dataclasses import dataclass

from django.contrib.auth.models import User
from django.db import transaction

from farm.models import (
    Customer,
    Farm,
    Grade,
    LoadLine,
    LotCard,
    Person,
    PlaceKind,
    Role,
    Sale,
    SaleLine,
    SellingPlace,
    Species,
    Stage,
    StallDay,
    Supplier,
)
from ledger.models import Line
from tests.bench.farm_years import BATCH, FarmYears

STAGES = {"grain": Stage.SUPPLY, "sawdust": Stage.SUPPLY, "culture": Stage.CULTURE,
          "jar": Stage.GRAIN, "spawn": Stage.SPAWN, "block": Stage.BLOCKS,
          "crop": Stage.CROP, "pack": Stage.PACKS}  # fmt: skip
LINES_A_CUSTOMER = 50
PACK_MONEY = 20_000
BAD = "R-117"  # the mark on the planted lot


@dataclass(frozen=True)
class FarmRows:
    owner: Person
    supplier: Supplier
    customer_of: dict[int, int]  # customer's key by the entry of the sale
    loads: tuple[StallDay, ...]


@transaction.atomic
def attach(years: FarmYears) -> FarmRows:
    """Write what the farm knows of a book: each lot's card, who bought what, what was loaded."""
    Farm.objects.create(name="Long Lane", place="Lowfield", time_zone="UTC", currency="EUR")
    owner = Person.objects.create(
        pk=1, user=User.objects.create_user("owner"), role=Role.OWNER, initials="OW"
    )
    supplier = Supplier.objects.create(name="The mill")
    _write_cards(years, supplier)
    stall = SellingPlace.objects.create(name="Market", kind=PlaceKind.STALL)
    kitchens = SellingPlace.objects.create(name="Kitchens", kind=PlaceKind.KITCHENS)
    loads = _loads(years, stall)
    sales = _sales(years, kitchens, loads)
    _write_sale_lines(years, sales)
    customer_of = {seq: sale.customer_id for seq, sale in sales.items() if sale.customer_id}
    return FarmRows(owner, supplier, customer_of, tuple(loads.values()))


def _write_cards(years: FarmYears, supplier: Supplier) -> None:
    species = Species.objects.create(
        name="Oyster", moisture_ppm=900_000, fridge_days=7, water_loss_ppm=10_000
    )
    LotCard.objects.bulk_create(
        [
            LotCard(
                lot=lot,
                stage=STAGES[lot.item.name],
                species=species,
                supplier=supplier,
                flush=1 if lot.item.name == "crop" else None,
                grade=Grade.FIRSTS if lot.item.name == "crop" else "",
                supplier_lot=BAD if lot.pk == years.planted else f"L-{lot.pk}",
            )
            for lot in years.lots
        ],
        batch_size=BATCH,
    )


def _loads(years: FarmYears, stall: SellingPlace) -> dict[int, StallDay]:
    """What was loaded, by the entry of the sale that settled it."""
    days = {
        load.sale: StallDay(
            entry_id=load.entry, place=stall, day=years.entries[load.entry - 1].happened_on
        )
        for load in years.loads
    }
    StallDay.objects.bulk_create(days.values(), batch_size=BATCH)
    LoadLine.objects.bulk_create(
        [
            LoadLine(stall_day=days[load.sale], lot_id=pack, quantity=5)
            for load in years.loads
            for pack in load.packs
        ],
        batch_size=BATCH,
    )
    return days


def _sales(years: FarmYears, kitchens: SellingPlace, loads: dict[int, StallDay]) -> dict[int, Sale]:
    """Every sale by its entry: at the stall where a load stands behind it, else to a kitchen."""
    chance = random.Random(11)
    customers = [
        Customer(name=f"Kitchen {number}", place=kitchens, contact=f"{number}")
        for number in range(len(years.lines) // LINES_A_CUSTOMER)
    ]
    Customer.objects.bulk_create(customers, batch_size=BATCH)
    sales = {}
    for line in years.lines:
        if line.role == "sold":
            day = loads.get(line.entry_id)
            whom = None if day else chance.choice(customers)
            place = day.place if day else kitchens
            sales[line.entry_id] = Sale(
                entry_id=line.entry_id, place=place, customer=whom, stall_day=day
            )
    Sale.objects.bulk_create(sales.values(), batch_size=BATCH)
    return sales


def _write_sale_lines(years: FarmYears, sales: dict[int, Sale]) -> None:
    SaleLine.objects.bulk_create(
        [
            SaleLine(
                sale=sales[sale_entry(years, line)],
                line=line,
                tax=0,
                tax_ppm=0,
                net=-line.quantity * PACK_MONEY,
                gross=-line.quantity * PACK_MONEY,
            )
            for line in years.lines
            if line.role in ("sold", "back")
        ],
        batch_size=BATCH,
    )


def sale_entry(years: FarmYears, line: Line) -> int:
    """The entry that sold what a line sold or brought back."""
    return years.lines[line.returns_id - 1].entry_id if line.returns_id else line.entry_id
