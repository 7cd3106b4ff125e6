"""Write the look-ups of a starting workbook; what is there under the same name stays as it is."""

from dataclasses import dataclass

from farm.actions.common import item_for
from farm.models import (
    Customer,
    Price,
    Product,
    SellingPlace,
    Species,
    Strain,
    Supplier,
    Supply,
)
from farm.start_book.reading import Filled, Row
from ledger.models import Dimension


@dataclass(frozen=True)
class Known:
    """Every look-up that a workbook may name, by the name that it uses."""

    suppliers: dict[str | None, Supplier]
    places: dict[str, SellingPlace]
    customers: dict[str | None, Customer]
    supplies: dict[str, Supply]
    strains: dict[str, Strain]
    wanted: dict[str, Product | Species]


def write_lookups(filled: Filled, weight_unit: str) -> Known:
    """Make the suppliers, places, customers, products, prices and supplies that are new.

    ``weight_unit``: of the prices of what is loose.
    """
    rows = filled.rows
    for row in rows["suppliers"]:
        Supplier.objects.get_or_create(name=row["name"], defaults=_words(row))
    for row in rows["places"]:
        SellingPlace.objects.get_or_create(name=row["name"], defaults={"kind": row["kind"]})
    places = {place.name: place for place in SellingPlace.objects.all()}
    for row in rows["customers"]:
        defaults = {**_words(row), "place": places[row["place"]]}
        Customer.objects.get_or_create(name=row["name"], defaults=defaults)
    _write_products(filled)
    known = set(Supply.objects.values_list("item__name", flat=True))
    for row in rows["supplies"]:
        if row["supply"] not in known:
            _write_supply(row)
            known.add(row["supply"])
    found = Known(
        suppliers={one.name: one for one in Supplier.objects.all()},
        places=places,
        customers={one.name: one for one in Customer.objects.all()},
        supplies={one.item.name: one for one in Supply.objects.select_related("item")},
        strains={str(one): one for one in Strain.objects.select_related("species")},
        wanted={
            **{one.name: one for one in Species.objects.all()},
            **{one.name: one for one in Product.objects.all()},
        },
    )
    _write_prices(filled, found, weight_unit)
    return found


def _words(row: Row) -> dict[str, str]:
    """The optional words of a row; what was left empty is empty."""
    return {key: row[key] or "" for key in ("address", "contact", "tax_number") if key in row}


def _write_products(filled: Filled) -> None:
    species = {one.name: one for one in Species.objects.all()}
    for row in filled.rows["products"]:
        defaults = {
            "species": species[row["species"]],
            "tax_ppm": row["tax_ppm"] or 0,
            **{key: row[key] for key in ("form", "net_mg", "pack")},
        }
        Product.objects.get_or_create(name=row["name"], defaults=defaults)


def _write_prices(filled: Filled, known: Known, weight_unit: str) -> None:
    """Write prices of packs, and of what is loose by the weight that the farm works in."""
    for row in filled.rows["prices"]:
        what = known.wanted[row["wanted"]]
        loose = {"species": what, "state": row["state"], "grade": row["grade"] or ""}
        Price.objects.get_or_create(
            **({"product": what} if isinstance(what, Product) else loose),
            place=known.places[row["place"]],
            from_day=row["from_day"],
            defaults={
                "pack_money": row["unit_money"],
                "weight_unit": weight_unit,
                "tax_included": row["tax_included"] is not False,
            },
        )


def _write_supply(row: Row) -> None:
    """Make a supply on its first row: counted where the weight of one piece is stated."""
    counted = row["piece_mg"] is not None
    item = item_for(row["supply"], Dimension.COUNT if counted else Dimension.MASS)
    Supply.objects.create(item=item, use=row["use"], piece_mg=row["piece_mg"] or 0)
