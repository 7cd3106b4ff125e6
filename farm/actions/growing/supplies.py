"""Receive what the farm buys."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from farm.actions.common import Doing, Draw, card, need_stage, post, put, used
from farm.actions.doubts import price_doubt
from farm.actions.growing.purchase_tax import landed
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.kinds.growing import RECEIVE_SUPPLIES, TOP_UP
from farm.models import Shelf, Stage, Supplier, Supply
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Lot, Role


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """Whom it came from, and how the supplier marked it."""

    supplier: Supplier | None = None
    supplier_lot: str = ""
    best_before: date | None = None


NOT_STATED = Delivery()


@action
def receive_supplies(
    doing: Doing,
    *,
    supply: Supply,
    quantity: int,
    paid_money: int,
    tax_money: int = 0,
    delivery: Delivery = NOT_STATED,
    shelf: Shelf | None = None,
) -> Recorded:
    """Take a delivery in as one lot, at what was paid, landed; the supplier's lot is kept.

    ``tax_money``: the purchase tax in what was paid. Where the farm reclaims it the lot costs
    that much less; the entry keeps both.
    """
    paid = landed(paid_money, tax_money)
    doing = answered(doing, price_doubt(doing.by, supply, quantity=quantity, money=paid.cost_money))
    counted = supply.item.dimension == Dimension.COUNT
    lot = NewLot(supply.item, unit_mass_mg=max(supply.piece_mg, 1) if counted else None)
    line = LineDraft(lot, Role.BOUGHT, quantity, money=paid.cost_money)
    recorded = post(doing, RECEIVE_SUPPLIES, [line], particulars=paid.particulars)
    if recorded.fresh:
        made = recorded.lots[0]
        card(made, Stage.SUPPLY, **vars(delivery))
        put(recorded.entry, made, shelf)
    return recorded


@action
def top_up(doing: Doing, *, lots: Sequence[Lot], shelf: Shelf | None = None) -> Recorded:
    """Pour lots of one supply into one bin: a new lot of all that is left of them.

    From then on it costs their average: 200 kg at 10.00 and 300 kg at 12.00 are 500 kg at 11.20.
    No lot is ever topped up itself, so a trace still finds every delivery that may be inside.
    """
    cards = [need_stage(lot, Stage.SUPPLY) for lot in lots]
    now = [found.lot for found in cards]
    codes = [lot.code for lot in now]
    is_one_supply = len({lot.item_id for lot in now}) == 1
    if len(set(codes)) < 2 or not is_one_supply or not all(lot.quantity for lot in now):
        raise Malformed(
            f"Lots {', '.join(codes) or 'none'}: choose two or more lots of one supply that have "
            "something left. Different supplies are kept apart.",
            codes,
        )
    quantity = sum(lot.quantity for lot in now)
    new = NewLot(now[0].item, unit_mass_mg=now[0].unit_mass_mg)
    made = LineDraft(new, Role.MADE, quantity, basis=quantity)
    draws = [Draw(lot, lot.quantity) for lot in now]
    recorded = post(doing, TOP_UP, [*used(draws), made])
    if recorded.fresh:
        bin_lot = recorded.lots[-1]
        suppliers = {found.supplier for found in cards}
        card(
            bin_lot,
            Stage.SUPPLY,
            supplier=suppliers.pop() if len(suppliers) == 1 else None,
            best_before=min((c.best_before for c in cards if c.best_before), default=None),
        )
        put(recorded.entry, bin_lot, shelf)
    return recorded
