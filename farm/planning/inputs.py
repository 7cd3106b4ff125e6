"""The numbers a card asks for: their names, words and kinds; and the plan they make."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from farm.planning.card import Batch, ByProducts, Crop, Ingredient, Pack, Place, Plan, Rates
from ledger.errors import Malformed


class InputKind(Enum):
    COUNT = "count"
    MASS = "mass"
    MONEY = "money"
    SHARE = "share"
    MINUTES = "minutes"
    RATIO = "ratio"  # parts per million of one, read as "9.5 to 1"


@dataclass(frozen=True)
class Input:
    """One number; the unit its key ends in is the one it is kept in. ``per``: of what."""

    key: str
    label: str
    kind: InputKind
    per: str = ""


@dataclass(frozen=True)
class Known:
    """A number the farm has, with where it comes from: its own records, a look-up, practice."""

    value: int
    source: str


@dataclass(frozen=True)
class Names:
    """What the card is of, in words; ``day``: one day of selling there."""

    recipe: str
    strain: str
    pack: str
    place: str
    day: str = "one day there"


_C, _M, _S = InputKind.COUNT, InputKind.MASS, InputKind.SHARE
_E, _T = InputKind.MONEY, InputKind.MINUTES

GROUPS: Mapping[str, tuple[Input, ...]] = {
    "The batch": (
        Input("blocks", "Blocks in the batch", _C),
        Input("load_blocks", "Blocks in the steriliser load", _C),
        Input("run_wh", "Energy of a steriliser run, Wh", _C),
        Input("spawn_mg", "Spawn", _M, "a block"),
        Input("spawn_kg_money", "Price of spawn", _E, "a kilo"),
        Input("block_seconds", "Minutes, all steps until picking", _T, "a block"),
        Input("shelf_days", "Days on the shelf", _C, "a block"),
    ),
    "What comes of it": (
        Input("loss_ppm", "Blocks lost before the first pick", _S, "blocks started"),
        Input("first_mg", "First flush, picked", _M, "a block fruited"),
        Input("second_mg", "Second flush, picked", _M, "a block fruited"),
        Input("third_mg", "Third flush, picked", _M, "a block fruited"),
        Input("pick_seconds", "Minutes of picking", _T, "a kilo"),
        Input("trim_ppm", "Trimmed off", _S, "what was picked"),
        Input("fridge_ppm", "Lost in the fridge", _S, "what was packed"),
        Input("unsold_ppm", "Unsold and binned", _S, "what the fridge left"),
    ),
    "What is sold beside it": (
        Input("trim_kg_money", "What trim brings", _E, "a kilo of it"),
        Input("spent_money", "What spent blocks bring", _E, "a block fruited"),
        Input("crop_kg_money", "What the crop is worth beside them", _E, "a kilo"),
    ),
    "Packing and selling": (
        Input("pack_money", "Price of the empty pack", _E, "a pack"),
        Input("pack_seconds", "Minutes of packing", _T, "a pack"),
        Input("day_mg", "Sold on a day there", _M, "a day"),
        Input("day_fee_money", "Fee", _E, "a day"),
        Input("day_seconds", "Minutes there and back", _T, "a day"),
        Input("takings_ppm", "Fee, share of the takings", _S, "takings"),
        Input("card_ppm", "Card fees", _S, "takings"),
        Input("margin_ppm", "Margin wished for", _S, "the price"),
    ),
    "Rates": (
        Input("own_ppm", "Hours that are your own", _S, "all hours"),
        Input("own_hour_money", "An own hour", _E),
        Input("paid_hour_money", "A paid hour", _E),
        Input("kwh_money", "A kilowatt-hour", _E),
        Input("block_day_money", "A block on the shelf for a day", _E),
    ),
}
# Nothing beside the crop is sold unless somebody says so; ``taken_off``: 1, or 0 to share by worth.
ALONE: Mapping[str, int] = {
    "trim_kg_money": 0,
    "spent_money": 0,
    "crop_kg_money": 0,
    "taken_off": 0,
}
INPUTS: Mapping[str, Input] = {one.key: one for group in GROUPS.values() for one in group}


def plan_from(values: Mapping[str, int], ingredients: tuple[Ingredient, ...], names: Names) -> Plan:
    """Make a plan of whole numbers; refuses, naming every number that is not known."""
    values = {**ALONE, **values}
    missing = [one.label.lower() for key, one in INPUTS.items() if key not in values]
    missing += [f"price of {p.name}" for p in ingredients if p.price_money < 0]
    if missing:
        raise Malformed(f"Not known yet: {', '.join(missing)}. Type them below.")
    spawn = Ingredient("Grain spawn", values["spawn_mg"], values["spawn_kg_money"])
    lost = values.get("lost_count")
    return Plan(
        batch=Batch(
            blocks=values["blocks"],
            ingredients=(*ingredients, spawn),
            run_wh=values["run_wh"],
            load_blocks=values["load_blocks"],
            block_seconds=values["block_seconds"],
            shelf_days=values["shelf_days"],
            loss_ppm=values["loss_ppm"],
            lost_count=lost,
        ),
        crop=Crop(
            flushes_mg=(values["first_mg"], values["second_mg"], values["third_mg"]),
            pick_seconds=values["pick_seconds"],
            trim_ppm=values["trim_ppm"],
            fridge_ppm=values["fridge_ppm"],
            unsold_ppm=values["unsold_ppm"],
        ),
        pack=Pack(names.pack, values["net_mg"], values["pack_money"], values["pack_seconds"]),
        place=place_from(values, names.place),
        rates=Rates(*(values[key] for key in _RATES)),
        margin_ppm=values["margin_ppm"],
        by_products=ByProducts(
            spent_money=values["spent_money"],
            trim_money=values["trim_kg_money"],
            crop_money=values["crop_kg_money"],
            taken_off=bool(values["taken_off"]),
        ),
    )


def place_from(values: Mapping[str, int], name: str) -> Place:
    return Place(
        name=name,
        day_fee_money=values["day_fee_money"],
        day_seconds=values["day_seconds"],
        day_mg=values["day_mg"],
        share_ppm=values["takings_ppm"],
        card_ppm=values["card_ppm"],
        tax_ppm=values["tax_ppm"],
    )


def centres(values: Mapping[str, int]) -> dict[str, float]:
    """What the numbers that vary from batch to batch are planned at, in their spreads' units."""
    lost = values.get("lost_count")
    return {
        "yield": sum(values[key] for key in ("first_mg", "second_mg", "third_mg")) / 1e6,
        "loss": values["loss_ppm"] / 1e6 if lost is None else lost / max(values["blocks"], 1),
        "trim": values["trim_ppm"] / 1e6,
        "fridge": values["fridge_ppm"] / 1e6,
        "unsold": values["unsold_ppm"] / 1e6,
    }


_RATES = ("own_hour_money", "paid_hour_money", "own_ppm", "kwh_money", "block_day_money")
