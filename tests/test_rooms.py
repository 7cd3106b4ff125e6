"""The rooms of the house: a folder a subject in each layer, and which way imports go."""

import ast
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FARM = ROOT / "farm"
MOST_FILES = 25
MOST_SHARED = 45
WITHIN_SUBJECT = 0.67

# In each layer a subject imports only subjects that stand before it; "shared" is what stands in
# the layer itself.
ORDER = {
    "models": "growing people shared costs day records starting store months recording selling"
              " orders tracing accounts",
    "actions": "shared costs day people accounts lookups selling store tracing growing orders"
               " months recording records starting",
    "queries": "shared recording starting accounts growing records tracing orders store day months"
               " selling costs",
    "reports": "shared growing accounts costs months selling starting store tracing day orders"
               " records",
    "pages": "shared lookups people records starting recording growing store selling accounts"
             " orders costs months day tracing site",
}  # fmt: skip
# Where the subjects of a layer hand in what is theirs: above all of them.
ABOVE = "farm.pages.all_actions"

# Modules that any subject may ask for.
SHARED = [
    f"farm.{name}"
    for name in [
        "beliefs",
        "habits",
        "refusals",
        "units",
        "templatetags.farm_format",
        "models.lots",
        "models.people.people",
        "models.trading",
        "actions.common",
        "actions.doubts",
        "actions.idempotency",
        "actions.questions",
        "actions.signing",
        "queries.cells",
        "queries.entries",
        "queries.finding",
        "queries.keeping",
        "queries.movements",
        "queries.roll_forward",
        "queries.sales",
        "queries.stock",
        "reports.bars",
        "reports.drawing",
        "reports.files",
        "reports.pounds",
        "reports.report_heading",
        "reports.rows",
        "reports.xlsx",
        "pages.access",
        "pages.addresses",
        "pages.clock",
        "pages.deeds",
        "pages.fields",
        "pages.frame",
        "pages.from_phone",
        "pages.kept_pages",
        "pages.lists",
        "pages.recording_form",
        "pages.report_files",
        "pages.report_page",
        "pages.retrying",
        "pages.sending",
        "pages.sent_forms",
        "pages.visible_rows",
        "pages.ways_out",
    ]
]

# Whose subject it is that stands outside the layers.
APART = {
    "planning": "costs", "start_book": "starting", "exchange": "exchange", "tables": "exchange",
    "gs1": "tracing", "glossary": "starting", "moisture": "growing",
    "logger_file": "records", "logger_lines": "records", "logger_words": "records",
    "net_weight": "store", "reading_times": "records", "readings": "records",
    "records": "records", "steam": "growing",
}  # fmt: skip


@cache
def modules() -> dict[str, Path]:
    files = [file for file in FARM.rglob("*.py") if "migrations" not in file.parts]
    return {".".join(file.relative_to(ROOT).with_suffix("").parts): file for file in files}


@cache
def imports() -> list[tuple[str, str]]:
    return [(name, other) for name in modules() for other in _imported_by(name)]


def _imported_by(name: str) -> Iterator[str]:
    """Name the farm's modules that a module imports, without those that only lead to others."""
    for node in ast.walk(ast.parse(modules()[name].read_text())):
        if isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{each.name}" for each in node.names}
            yield from sorted(inner & modules().keys()) or (
                [node.module] if node.module in modules() else []
            )


def subject(name: str) -> str:
    """Whose a module is; "shared" where it stands in its layer, "" where it has no subject."""
    _, place, *rest = name.split(".")
    if place in ORDER:
        return rest[0] if len(rest) > 1 else "shared"
    return APART.get(place, "")


def test_no_folder_holds_more_than_one_can_look_over() -> None:
    places = [ROOT / "ledger", FARM, ROOT / "templates", ROOT / "tests"]
    folders = [each for place in places for each in (place, *place.rglob("*/"))]
    full = {
        str(folder.relative_to(ROOT)): count
        for folder in folders
        if not {"migrations", "static", "__pycache__"} & set(folder.parts)
        if (count := sum(file.is_file() for file in folder.iterdir())) > MOST_FILES
    }

    assert full == {}


@pytest.mark.parametrize("layer", ORDER)
def test_imports_between_subjects_go_one_way(layer: str) -> None:
    order = ORDER[layer].split()
    climbing = [
        f"{name} imports {other}"
        for name, other in imports()
        if name.split(".")[1] == other.split(".")[1] == layer
        if "__init__" not in (name.rpartition(".")[2], other.rpartition(".")[2])
        if name != ABOVE and order.index(subject(name)) < order.index(subject(other))
    ]

    assert climbing == []


def test_few_modules_are_shared_and_each_is_there() -> None:
    assert len(SHARED) <= MOST_SHARED
    assert set(SHARED) - modules().keys() == set()
    assert all(before != after for before, after in pairwise(sorted(SHARED)))


def test_most_imports_stay_within_their_subject() -> None:
    told = [
        (subject(name), subject(other))
        for name, other in imports()
        if not {name, other} & set(SHARED)
    ]
    between = [pair for pair in told if all(pair)]
    inside = [own for own, other in between if own == other != "shared"]

    assert len(inside) >= WITHIN_SUBJECT * len(between)
