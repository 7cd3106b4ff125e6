"""Where changes are tried: what carries money, weights, days and ancestry."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / ".data" / "mutants"

# All of the book but its tables, and what of the farm costs, prices, dates, shares out, traces,
# closes.
PLACES = {
    "ledger": (
        "amounts append_only balances book checks codes costing drafts edges full_pass guards"
        " sealing story tracing waiting working"
    ),
    "farm": "moisture net_weight steam units",
    "farm.planning": "card chain decisions drivers grown outlook pricing spread variance work",
    "farm.actions": (
        "allotting bills blocks boxes cashing checks closing common correcting counting filling"
        " giving giving_up grain harvesting holding invoicing numbering orders packing payments"
        " picks pricing purchase_tax recalling runs selling settling shares sharing_out stalls"
        " storing supplies takings till"
    ),
    "farm.queries": (
        "account_checks against_plan allocations balance batches bills block_picks by_products"
        " calendar canonical card_inputs cash cells check_weights closings costs decisions dryings"
        " experience flushes frozen growing_losses happened held holds invoices keeping kilos"
        " loss_ways months orders owed place_reconciliation prices promises reach recalls"
        " reconciliation roll_forward sales shares stall_days steriliser_runs stock stores times"
        " traces trim usual water_loss wider years yields"
    ),
    "farm.reports": "month_harvest month_sales month_rows year_rows",
}


def modules() -> list[str]:
    """Name every module in which changes are tried."""
    return [f"{folder}.{name}" for folder, names in PLACES.items() for name in names.split()]


def file_of(module: str) -> Path:
    return ROOT.joinpath(*module.split(".")).with_suffix(".py")


def is_tried(module: str) -> bool:
    return module in _TRIED


_TRIED = frozenset(modules())
