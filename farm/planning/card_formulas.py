"""The card's figures as spreadsheet formulas over named inputs, with our own figure of each."""

from dataclasses import dataclass
from fractions import Fraction

from farm.planning.card import MILLION, Card
from farm.planning.pricing import floor_price, target_price

MONEY, MASS, SHARE, PLAIN_NUMBER = "#,##0.00??", "#,##0.000###", "0.0#%", "#,##0.##"
COIN = 10_000
TAKEN = "(takings_share+card_share)*(1+tax_share)"
HOUR = "(own_share*own_hour_price+(1-own_share)*paid_hour_price)"
NAMED_COSTS = ("picked", "saleable", "packed", "sold", "placed")


@dataclass(frozen=True)
class Formula:
    """One figure: its words, the formula over names, our own figure in the sheet's unit."""

    label: str
    formula: str
    ours: Fraction
    unit: str
    name: str = ""
    look: str = MONEY
    is_sum: bool = False


def formulas_of(
    card: Card, currency: str, *, first_ingredient: int, first_row: int
) -> list[Formula]:
    """List every figure of the card, in the order in which they follow from each other."""
    block = _block(card, f"{currency} a block", first_ingredient)
    whole = f"SUM(B{first_row}:B{first_row + len(block) - 1})"
    block_cost = Formula(
        "A block started",
        whole,
        card.chain.block / COIN,
        f"{currency} a block",
        "block_cost",
        is_sum=True,
    )
    return [*block, block_cost, *_kilo(card, f"{currency} a kg"), *_prices(card, currency)]


def _block(card: Card, unit: str, first_ingredient: int) -> list[Formula]:
    """The block, line by line; its ingredients stand in rows of the sheet of inputs."""
    rows = range(first_ingredient, first_ingredient + len(card.plan.batch.ingredients) - 1)
    formulas = [
        *(f"Inputs!B{row}*Inputs!C{row}" for row in rows),
        "spawn_kg*spawn_kg_price",
        "run_wh/1000*kwh_price/load_blocks",
        "block_minutes/60*(1-own_share)*paid_hour_price",
        "block_minutes/60*own_share*own_hour_price",
        "shelf_days*block_day_price",
    ]
    return [
        Formula(line.label, formula, line.cost / COIN, unit)
        for line, formula in zip(card.lines, formulas, strict=True)
    ]


def _kilo(card: Card, unit: str) -> list[Formula]:
    """The costs of a kilo, each from the one before; losses divide."""
    chain = card.chain
    picked = Formula(
        "Picked from a block fruited",
        "first_kg+second_kg+third_kg",
        chain.yield_kg,
        "kg",
        "yield_kg",
        MASS,
    )
    steps = (
        (
            "Ready to pick",
            "MAX(block_cost/(1-loss_share)-taken_off*spent_price,0)"
            f"/(yield_kg+{_like('spent_price')})",
            "ready",
        ),
        ("Picked", f"ready+pick_minutes/60*{HOUR}", "picked"),
        (
            "Saleable",
            "MAX(picked-taken_off*trim_share*trim_kg_price,0)"
            f"/(1-trim_share+trim_share*{_like('trim_kg_price')})",
            "saleable",
        ),
        ("Packed", f"saleable+(pack_price+pack_minutes/60*{HOUR})/net_kg", "packed"),
        ("Sold", "packed/(1-fridge_share)/(1-unsold_share)", "sold"),
        (
            f"Sold at {card.plan.place.name}",
            f"sold+(day_fee_price+day_minutes/60*{HOUR})/day_kg",
            "placed",
        ),
    )
    return [
        picked,
        *(
            Formula(
                label, formula, getattr(chain, name) / COIN, unit, name, is_sum=name in NAMED_COSTS
            )
            for label, formula, name in steps
        ),
    ]


def _like(price: str) -> str:
    """As how many kilos of the crop a by-product shares; none where it is taken off."""
    return f"IF(OR(taken_off=1,{price}=0),0,{price}/crop_kg_price)"


def _prices(card: Card, currency: str) -> list[Formula]:
    """Floor and target, net a kilo and tax in it a pack; not rounded up, unlike on the page."""
    placed, taken = card.chain.placed, card.plan.place.taken
    floor = floor_price(placed, taken)
    target = target_price(placed, taken, card.margin)
    a_pack = (1 + Fraction(card.plan.place.tax_ppm, MILLION)) * card.plan.pack.net_mg / MILLION
    kilo, pack = f"{currency} a kg", f"{currency} a pack"
    return [
        Formula("Price floor, without tax", f"placed/(1-{TAKEN})", floor / COIN, kilo, "floor_net"),
        Formula(
            "Price floor, tax in it", "floor_net*(1+tax_share)*net_kg", floor * a_pack / COIN, pack
        ),
        Formula(
            "Target, without tax",
            f"placed/(1-{TAKEN}-margin_share)",
            target / COIN,
            kilo,
            "target_net",
        ),
        Formula(
            "Target, tax in it", "target_net*(1+tax_share)*net_kg", target * a_pack / COIN, pack
        ),
    ]
