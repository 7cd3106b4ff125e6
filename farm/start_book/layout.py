"""The sheets of the starting workbook and what their columns hold; blank and reading follow it."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from farm.models import Form, Grade, PackKind, PlaceKind, Use

HEAD_ROW, FIRST_ROW = 1, 2
NEEDED = " *"  # behind the name of a column that must be filled in


class Holds(Enum):
    """What a cell holds, and the whole unit that it becomes."""

    WORDS = "words"
    CHOICE = "one of a few words"
    NAME = "the name of something on another sheet or under Farm details"
    DAY = "a day"
    MASS = "a weight"  # mg
    AMOUNT = "a weight, or a number of pieces"  # read once it is known which
    MONEY = "money"  # 1/10,000 of the currency unit
    PERCENT = "percent"  # ppm
    YES_NO = "yes or no"


@dataclass(frozen=True, kw_only=True)
class Col:
    """A column. ``choices``: the word shown to the value meant. ``of``: whose names fit.

    ``bare_mg``: a weight typed without its unit that comes to more is asked about; own rule.
    """

    key: str
    title: str
    holds: Holds = Holds.WORDS
    needed: bool = True
    choices: Mapping[str, str] | None = None
    of: str = ""
    longest: int = 80
    bare_mg: int = 0
    hint: str = ""

    @property
    def head(self) -> str:
        return self.title + (NEEDED if self.needed else "")


@dataclass(frozen=True)
class Sheet:
    """``named``: the column whose words may stand only once."""

    key: str
    title: str
    about: str
    cols: tuple[Col, ...]
    named: str = ""


def _choices(kind: type[Form | Grade | PackKind | PlaceKind | Use]) -> dict[str, str]:
    return {str(label): str(value) for value, label in kind.choices}


NAME = Col(key="name", title="Name")
ADDRESS = Col(key="address", title="Address", needed=False, longest=200)
CONTACT = Col(key="contact", title="Telephone or e-mail", needed=False, longest=120)
STRAIN = Col(
    key="strain",
    title="Strain",
    holds=Holds.NAME,
    of="strain",
    hint="As under Farm details, strains: the species, a point, the strain",
)
PLACE = Col(key="place", title="Selling place", holds=Holds.NAME, of="place")
COST = Col(
    key="cost_money",
    title="What it cost",
    holds=Holds.MONEY,
    hint="For the whole row: what was paid, or what it is worth to the farm; 0 if nothing "
    "is known, and then what is made of it looks too cheap",
)
KILO = 1_000_000  # mg
WEIGHT = Col(key="mass_mg", title="Weight", holds=Holds.MASS, bare_mg=50 * KILO)
GRADE = Col(
    key="grade",
    title="Grade",
    holds=Holds.CHOICE,
    needed=False,
    choices=_choices(Grade),
    hint="Empty: firsts",
)
WANTED = Col(
    key="wanted",
    title="Product or species",
    holds=Holds.NAME,
    of="wanted",
    hint="A product by packs, a species loose by weight",
)
PICKED_ON = Col(key="day", title="Picked on", holds=Holds.DAY)

SHEETS = (
    Sheet("suppliers", "Suppliers", "Whom the farm buys from.", (NAME, ADDRESS, CONTACT), "name"),
    Sheet("places", "Selling places", "Stalls, rounds, the farm's door.",
          (Col(key="name", title="Name", longest=60),
           Col(key="kind", title="Kind", holds=Holds.CHOICE, choices=_choices(PlaceKind))),
          "name"),
    Sheet("customers", "Customers", "Kitchens, shops and boxes that buy under a name.",
          (NAME, PLACE, ADDRESS, CONTACT,
           Col(key="tax_number", title="Tax number", needed=False, longest=30)), "name"),
    Sheet("products", "Products", "Packs of a stated net weight.",
          (NAME, Col(key="species", title="Species", holds=Holds.NAME, of="species"),
           Col(key="form", title="Form", holds=Holds.CHOICE, choices=_choices(Form)),
           Col(key="net_mg", title="Net weight", holds=Holds.MASS, bare_mg=KILO),
           Col(key="pack", title="Pack", holds=Holds.CHOICE, choices=_choices(PackKind)),
           Col(key="tax_ppm", title="Sales tax, %", holds=Holds.PERCENT, needed=False)), "name"),
    Sheet("prices", "Prices", "What a pack, or a weight of what is loose, costs at a place, from "
          "a day on.",
          (WANTED,
           Col(key="state", title="State", holds=Holds.CHOICE, needed=False,
               choices=_choices(Form), hint="Of a species; empty: fresh"),
           Col(key="grade", title="Grade", holds=Holds.CHOICE, needed=False,
               choices=_choices(Grade), hint="Of a species that is fresh; empty: firsts"),
           PLACE, Col(key="from_day", title="From day", holds=Holds.DAY),
           Col(key="unit_money", title="Price", holds=Holds.MONEY,
               hint="Of a pack; of a kilogram, or a pound where the farm works in pounds, of "
                    "what is loose"),
           Col(key="tax_included", title="Tax included", holds=Holds.YES_NO, needed=False,
               hint="Empty: yes"))),
    Sheet("supplies", "Supplies on hand", "Each row becomes a lot: what came together, together.",
          (Col(key="supply", title="Supply", longest=120),
           Col(key="use", title="Used for", holds=Holds.CHOICE, needed=False,
               choices=_choices(Use), hint="Needed for a supply that is new under Farm details"),
           Col(key="quantity", title="How much", holds=Holds.AMOUNT, bare_mg=5_000 * KILO),
           Col(key="piece_mg", title="Weight of one piece", holds=Holds.MASS, needed=False,
               bare_mg=KILO,
               hint="Makes a supply that is new here one that is counted"),
           COST, Col(key="day", title="Received on", holds=Holds.DAY),
           Col(key="supplier", title="Supplier", holds=Holds.NAME, of="supplier", needed=False),
           Col(key="supplier_lot", title="Supplier's lot number", needed=False, longest=60),
           Col(key="best_before", title="Best before", holds=Holds.DAY, needed=False))),
    Sheet("growing", "Growing", "Spawn and blocks that are there now.",
          (Col(key="what", title="What", holds=Holds.CHOICE,
               choices={"spawn": "spawn", "blocks": "blocks"}), STRAIN,
           Col(key="quantity", title="How much", holds=Holds.AMOUNT, bare_mg=100 * KILO,
               hint="Spawn by weight, blocks by number"),
           Col(key="piece_mg", title="Weight of one block", holds=Holds.MASS, needed=False,
               bare_mg=20 * KILO,
               hint="Needed for blocks"),
           COST, Col(key="day", title="Inoculated on", holds=Holds.DAY))),
    Sheet("stock", "Fresh and dried", "What is in the fridge and in jars now.",
          (Col(key="what", title="What", holds=Holds.CHOICE, choices=_choices(Form)), STRAIN,
           GRADE, PICKED_ON, WEIGHT, COST)),
    Sheet("picks", "Last season's picks", "What was picked before the book began. What the next "
          "sheet does not sell of it is written off, since nobody can say where it went.",
          (Col(key="mark", title="Mark", longest=20, hint="A word of your own, for the next sheet"),
           STRAIN, GRADE, PICKED_ON, WEIGHT, COST), "mark"),
    Sheet("sales", "Last season's sales", "Loose, by weight; a pick is named by its mark.",
          (Col(key="mark", title="Pick's mark", holds=Holds.NAME, of="mark", longest=20), PLACE,
           Col(key="customer", title="Customer", holds=Holds.NAME, of="customer", needed=False),
           Col(key="day", title="Sold on", holds=Holds.DAY), WEIGHT,
           Col(key="kg_money", title="Price of a kilogram", holds=Holds.MONEY))),
    Sheet("orders", "Open orders", "What was promised and not delivered yet. Rows of one customer, "
          "day and rhythm are one order.",
          (Col(key="customer", title="Customer", holds=Holds.NAME, of="customer"), WANTED,
           Col(key="quantity", title="How much", holds=Holds.AMOUNT, bare_mg=50 * KILO,
               hint="Packs of a product; the weight of a species"),
           Col(key="due_on", title="Due on", holds=Holds.DAY,
               hint="Of a standing order, its next day"),
           Col(key="often", title="How often", holds=Holds.CHOICE, needed=False,
               choices={"once": "0", "every week": "1", "every other week": "2",
                        "every four weeks": "4"}, hint="Empty: once"),
           Col(key="unit_money", title="Agreed price", holds=Holds.MONEY, needed=False,
               hint="Of a pack, empty: as listed; of a kilogram, or a pound where the farm "
                    "works in pounds, of what is loose"))),
)  # fmt: skip

BY_KEY = {sheet.key: sheet for sheet in SHEETS}
# Whose names a sheet adds, for the columns that ask for one.
NAMES_FROM = {"suppliers": "supplier", "places": "place", "customers": "customer",
              "products": "product", "picks": "mark"}  # fmt: skip
