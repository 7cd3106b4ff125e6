"""Where changes are tried: what carries money, weights, days and ancestry."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / ".data" / "mutants"

# All of the book but its tables, and what of the farm costs, prices, dates, shares out, traces,
# closes.
PLACES = {
    "ledger": (
        "amounts append_only balances book checks codes costing drafts full_pass guards sealing"
        " tracing waiting working"
    ),
    "farm": "moisture net_weight steam units",
    "farm.planning": "card chain decisions pricing spread variance work",
    "farm.actions": (
        "allotting bills blocks boxes cashing checks closing common correcting counting filling"
        " giving grain harvesting holding invoicing numbering orders packing payments picks"
        " pricing purchase_tax recalling runs selling shares sharing_out stalls storing"
        " supplies takings till"
    ),
    "farm.queries": (
        "against_plan allocations balance bills calendar canonical card_inputs cash check_weights"
        " closings costs decisions dryings experience flushes frozen growing_losses happened"
        " harvests held holds invoices keeping kilos months orders owed prices promises"
        " place_reconciliation reach recalls reconciliation sales shares stall_days stock stores"
        " times steriliser_runs traces usual water_loss wider years yields"
    ),
    "farm.reports": "steps month_harvest month_sales month_rows year_rows",
}


def modules() -> list[str]:
    """Name every module in which changes are tried."""
    return [f"{folder}.{name}" for folder, names in PLACES.items() for name in names.split()]


def file_of(module: str) -> Path:
    return ROOT.joinpath(*module.split(".")).with_suffix(".py")


def is_tried(module: str) -> bool:
    return module in _TRIED


_TRIED = frozenset(modules())
