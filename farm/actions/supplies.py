"""Receive what the farm buys."""

from dataclasses import dataclass
from datetime import date

from farm.actions.common import Doing, card, post, put
from farm.actions.once import action
from farm.actions.purchase_tax import landed
from farm.models import Shelf, Stage, Supplier, Supply
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.models import Dimension, Role


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
    counted = supply.item.dimension == Dimension.COUNT
    lot = NewLot(supply.item, unit_mass_mg=max(supply.piece_mg, 1) if counted else None)
    line = LineDraft(lot, Role.BOUGHT, quantity, money=paid.cost_money)
    recorded = post(doing, "receive supplies", [line], particulars=paid.particulars)
    if recorded.fresh:
        made = recorded.lots[0]
        card(made, Stage.SUPPLY, **vars(delivery))
        put(recorded.entry, made, shelf)
    return recorded
