"""Where changes are tried: what carries money, weights, days and ancestry."""

from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / ".data" / "mutants"

# All of these folders but what is left out, and these modules.
FOLDERS = ("ledger", "farm/planning", "farm/actions", "farm/queries")
MODULES = (
    "farm.moisture", "farm.net_weight", "farm.steam", "farm.units",
    "farm.reports.months.month_harvest", "farm.reports.months.month_sales",
    "farm.reports.months.month_rows", "farm.reports.months.year_rows",
)  # fmt: skip
# Tables and errors; words, papers, photos, sign-ins, look-ups; what only asks or only lists.
LEFT_OUT = {
    "ledger": "apps errors models standing",
    "farm.planning": "card_formulas card_sheet inputs",
    "farm.actions": "corrections doubts hold_refusals idempotency questions signing",
    "farm.actions.costs": "cards",
    "farm.actions.day": "calendar",
    "farm.actions.growing": "correction_doubts cultures run_doubts",
    "farm.actions.lookups": "lookups",
    "farm.actions.people": "sign_ins",
    "farm.actions.recording": "correction_doubts phone unfinished",
    "farm.actions.records": "photos records run_readings",
    "farm.actions.selling": "correction_doubts",
    "farm.actions.starting": "start_book start_lookups starting",
    "farm.actions.store": "check_weights correction_doubts count_doubts",
    "farm.actions.tracing": "drilling",
    "farm.queries": "entries finding",
    "farm.queries.costs": "card_choice card_outcomes card_selling plans",
    "farm.queries.day": "today wall_sheets",
    "farm.queries.growing": "recipes",
    "farm.queries.recording": "phone",
    "farm.queries.records": "binders paperwork records run_readings",
    "farm.queries.selling": "fee_sheet till",
    "farm.queries.starting": "first_hour start_books",
    "farm.queries.store": "counts in_store later_weights",
    "farm.queries.tracing": "drills labels reading_labels suspects trace_events",
}


@cache
def modules() -> tuple[str, ...]:
    """Name every module in which changes are tried."""
    files = [file for folder in FOLDERS for file in sorted((ROOT / folder).rglob("*.py"))]
    names = [".".join(file.relative_to(ROOT).with_suffix("").parts) for file in files]
    return (*(name for name in names if not _is_left_out(name)), *MODULES)


def _is_left_out(module: str) -> bool:
    folder, _, name = module.rpartition(".")
    return name == "__init__" or "migrations" in folder or name in LEFT_OUT.get(folder, "").split()


def file_of(module: str) -> Path:
    return ROOT.joinpath(*module.split(".")).with_suffix(".py")


def is_tried(module: str) -> bool:
    return module in modules()
