"""Which look-ups there are: one row each, with the fields that its form asks for."""

from dataclasses import dataclass

from django.db.models import Model

from farm.models import (
    NEVER_CHANGED,
    AgreedPrice,
    ByProductChoice,
    Customer,
    Price,
    Product,
    Rate,
    Recipe,
    RecipeVersion,
    Room,
    SalesTax,
    SellingPlace,
    Shelf,
    Species,
    StandardTime,
    Steriliser,
    Strain,
    Supplier,
    Supply,
    Token,
)
from farm.pages.access import Right


@dataclass(frozen=True)
class Lookup:
    """``fields``: of the model, in the order asked; ``shown``: the columns of its list.

    ``right``: without which its rows are not shown.
    """

    slug: str
    title: str
    one: str
    model: type[Model]
    fields: tuple[str, ...]
    shown: tuple[str, ...]
    hint: str = ""
    right: Right = Right.SEE_WORK

    @property
    def is_kept(self) -> bool:
        """Say whether its rows are only added, since what they said counted for what was done."""
        return self.model in NEVER_CHANGED


LOOKUPS = (
    Lookup("rates", "Rates", "a rate", Rate, ("of", "from_day", "rate_money"),
           ("of", "from_day", "rate_money"),
           "What an hour, a kilowatt-hour and a block's day on a shelf cost, from a day on.",
           Right.SEE_COSTS),
    Lookup("by-products", "By-products", "a way of counting by-products", ByProductChoice,
           ("from_day", "way"), ("from_day", "way"),
           "What trim, spent blocks and what was binned bring: how it is counted, from a day on. "
           "Until a way is chosen, each bears cost by its worth; what was recorded keeps its way.",
           Right.SEE_COSTS),
    Lookup("standard-times", "Standard times", "a standard time", StandardTime,
           ("action", "minutes", "unit_seconds"), ("action", "minutes", "unit_seconds"),
           "How long each action usually takes, so that labour is never forgotten."),
    Lookup("suppliers", "Suppliers", "a supplier", Supplier, ("name", "address", "contact", "gln"),
           ("contact",)),
    Lookup("supplies", "Supplies", "a supply", Supply, ("use", "moisture_ppm", "piece_mg"),
           ("use", "moisture_ppm", "piece_mg"), "Whatever the farm buys: weighed or counted."),
    Lookup("species", "Species", "a species", Species,
           ("name", "latin", "moisture_ppm", "fridge_days", "water_loss_ppm", "cooking_note"),
           ("latin", "moisture_ppm", "fridge_days", "water_loss_ppm")),
    Lookup("strains", "Strains", "a strain", Strain,
           ("species", "name", "source", "spawn_run_days", "first_pick_days", "flush_gap_days",
            "soak_days", "first_mg", "second_mg", "third_mg", "planned_loss_ppm"),
           ("spawn_run_days", "first_pick_days", "first_mg", "planned_loss_ppm"),
           "Planning figures are starting beliefs; changing one changes nothing recorded."),
    Lookup("recipes", "Recipes", "a recipe", Recipe, ("name", "makes"), ("makes",),
           "What one bag, jar or block is filled with; each change is a new version.",
           Right.SEE_RECIPES),
    Lookup("rooms", "Rooms", "a room", Room, ("name", "purpose", "gln"), ("purpose",)),
    Lookup("shelves", "Shelves", "a shelf", Shelf, ("room", "name", "holds_blocks"),
           ("holds_blocks",)),
    Lookup("sterilisers", "Sterilisers", "a steriliser", Steriliser,
           ("name", "pressurised", "max_gauge_kpa", "run_wh", "inspected_until"),
           ("pressurised", "max_gauge_kpa", "inspected_until"),
           "State the maker's limit from the vessel's own plate."),
    Lookup("products", "Products", "a product", Product,
           ("name", "species", "form", "net_mg", "pack", "approved_process",
            "packaging", "tare_mg", "fridge_days", "tax_ppm", "gtin", "label_text"),
           ("species", "form", "net_mg", "tax_ppm")),
    Lookup("selling-places", "Selling places", "a selling place", SellingPlace,
           ("name", "kind", "day_fee_money", "fee_ppm", "day_minutes", "float_money",
            "card_fee_ppm", "card_fee_each_money", "discount_ppm", "gln"),
           ("kind", "day_fee_money", "fee_ppm", "day_minutes"), "", Right.SEE_SALES),
    Lookup("tokens", "Tokens", "a kind of token", Token,
           ("name", "place", "value_money", "issuer"), ("place", "value_money", "issuer"),
           "Tokens and vouchers that a stall takes in place of money.", Right.SEE_SALES),
    Lookup("prices", "Prices", "a price", Price,
           ("product", "species", "state", "grade", "place", "from_day", "pack_money",
            "weight_unit", "tax_included"),
           ("place", "from_day", "pack_money", "weight_unit"),
           "Of a pack, or of what is loose: by species, state and grade, each at its own price.",
           Right.SEE_SALES),
    Lookup("sales-tax", "Sales tax rates", "a sales tax rate", SalesTax,
           ("product", "species", "state", "from_day", "rate_ppm"),
           ("from_day", "rate_ppm"),
           "From a day on: a sale takes the rate of its own day, whenever it is entered. Without "
           "one a product has the rate that stands with it, and what is loose has none.",
           Right.SEE_SALES),
    Lookup("agreed-prices", "Agreed prices", "an agreed price", AgreedPrice,
           ("customer", "product", "species", "state", "grade", "from_day", "until", "unit_money",
            "weight_unit", "tax_included"),
           ("customer", "product", "species", "state", "grade", "from_day", "until", "unit_money",
            "weight_unit"),
           "For one customer; it goes before the price list of the place. What is loose is agreed "
           "by species, state and grade.",
           Right.SEE_SALES),
    Lookup("customers", "Customers", "a customer", Customer,
           ("name", "place", "address", "contact", "stop", "stop_note", "least_days", "tax_number",
            "gln"),
           ("number", "place", "contact"),
           "", Right.SEE_ORDERS),
)  # fmt: skip

BY_SLUG = {lookup.slug: lookup for lookup in LOOKUPS}
# Of each model, in which list its rows stand, and what one is called.
LISTS = {lookup.model: (lookup.slug, lookup.one) for lookup in LOOKUPS}
LISTS |= {RecipeVersion: LISTS[Recipe]}
