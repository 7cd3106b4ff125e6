"""pages -> actions and queries -> ledger: the seam and the one writer, checked on the source.

A linter sees imports only. This also sees a model that points at the farm by string, and
rows of the book made or changed anywhere but in the book.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps

ROOT = Path(__file__).parent.parent
FACE = ("django.http", "django.forms", "django.shortcuts", "django.views", "django.contrib.admin")

# A folder or file, and what it must not import.
BANS = [
    ("ledger", ("farm", "django.urls", "django.template", *FACE)),
    ("farm/models", ("farm.pages", "farm.actions", "farm.queries", "farm.reports", *FACE)),
    ("farm/kinds", ("farm.pages", "farm.actions", "farm.queries", "farm.reports", *FACE)),
    ("farm/actions", ("farm.pages", "farm.reports", *FACE)),
    ("farm/queries", ("farm.pages", "farm.actions", "farm.reports", "ledger.book", *FACE)),
    ("farm/queries.py", ("farm.pages", "farm.actions", "farm.reports", "ledger.book", *FACE)),
    ("farm/reports", ("farm.pages", "farm.actions", *FACE)),
    ("farm/exchange", ("farm.pages", "farm.actions", "ledger.book", *FACE)),
    ("farm/pages", ("ledger.book", "django.contrib.admin")),
    ("farm/management", FACE),
    ("farm/templatetags", FACE),
]

FACTS = {"Entry", "Line", "Charge"}
WRITES = {
    "create", "get_or_create", "update_or_create", "bulk_create", "bulk_update",
    "update", "save", "delete",
}  # fmt: skip
# Words of the trade: one sign that the book has begun to know whose book it is.
FARM_WORDS = ("mushroom", "spawn", "substrate", "harvest", "mycel", "fruiting", "inoculat")


def sources(place: str) -> list[Path]:
    path = ROOT / place
    found = [path] if path.is_file() else sorted(path.rglob("*.py"))
    return [file for file in found if "migrations" not in file.parts]


def imports_in(tree: ast.AST) -> Iterator[str]:
    """Name every module imported; `from a import b` gives a and a.b."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)


def calls_on(tree: ast.AST, names: set[str]) -> Iterator[str]:
    """Name each writing call whose chain starts at one of `names`, in any case."""
    lowered = {name.lower() for name in names}
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            start = root_of(node.func)
            if node.func.attr in WRITES and start.lower() in lowered:
                yield f"{start}….{node.func.attr}() at line {node.lineno}"


def root_of(node: ast.expr) -> str:
    """Return the name a chain starts at: Line for Line.objects.filter(…).update."""
    while not isinstance(node, ast.Name):
        if isinstance(node, ast.Attribute):
            node = node.value
        elif isinstance(node, ast.Call):
            node = node.func
        else:
            return ""
    return node.id


@pytest.mark.parametrize(("place", "banned"), BANS, ids=[place for place, _ in BANS])
def test_each_layer_imports_only_what_lies_below(place: str, banned: tuple[str, ...]) -> None:
    crossings = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sources(place)
        for name in imports_in(ast.parse(path.read_text()))
        if any(name == ban or name.startswith(f"{ban}.") for ban in banned)
    ]

    assert crossings == []


def test_no_row_of_the_book_points_at_the_farm() -> None:
    pointing = [
        f"{model.__name__}.{field.name}"
        for model in apps.get_app_config("ledger").get_models()
        for field in model._meta.get_fields()
        if field.concrete and field.is_relation and getattr(field, "related_model", None)
        if field.related_model._meta.app_label == "farm"  # type: ignore[union-attr]
    ]

    assert pointing == []


def test_no_text_of_the_book_names_a_module_of_the_farm() -> None:
    naming = [
        f"{path.name}:{node.lineno}"
        for path in sources("ledger")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        if node.value == "farm" or node.value.startswith("farm.")
    ]

    assert naming == []


def test_the_book_has_no_words_of_the_trade() -> None:
    found = [
        f"{path.name}: {word}"
        for path in sources("ledger")
        for word in FARM_WORDS
        if word in path.read_text().lower()
    ]

    assert found == []


def test_only_the_book_writes_facts() -> None:
    writing = [
        f"{path.name}: {call}"
        for path in sources("ledger")
        if path.name != "book.py"
        for call in calls_on(ast.parse(path.read_text()), FACTS)
    ]

    assert writing == []


def test_the_farm_writes_no_row_of_the_book() -> None:
    names = {model.__name__ for model in apps.get_app_config("ledger").get_models()}
    writing = [
        f"{path.relative_to(ROOT)}: {call}"
        for path in sources("farm")
        for call in calls_on(ast.parse(path.read_text()), names)
    ]

    assert writing == []


@pytest.mark.parametrize(
    "code",
    ["Line.objects.create(x=1)", "Line.objects.filter(x=1).update(x=2)", "line.save()"],
)
def test_a_write_is_seen_wherever_its_chain_starts(code: str) -> None:
    assert len(list(calls_on(ast.parse(code), FACTS))) == 1


def test_a_reading_is_not_taken_for_a_write() -> None:
    assert list(calls_on(ast.parse("Line.objects.filter(x=1).count()"), FACTS)) == []


def test_an_import_is_seen_in_both_its_forms() -> None:
    seen = set(imports_in(ast.parse("import farm.units\nfrom farm import models")))

    assert seen == {"farm.units", "farm", "farm.models"}


def places_asked_by_hand(tree: ast.AST) -> Iterator[int]:
    """Give the line of each question for rows that stand at a place, written out."""
    for node in ast.walk(tree):
        words = [part.arg or "" for part in node.keywords] if isinstance(node, ast.Call) else []
        if any(f"__{word}".endswith(("__entry__place", "__entry__place__in")) for word in words):
            yield node.lineno  # type: ignore[attr-defined]


def test_what_was_taken_back_is_left_out_by_the_method_of_the_book_alone() -> None:
    way = "amendments__" + "takes_back"
    by_hand = [
        str(path.relative_to(ROOT))
        for place in ("farm", "ledger")
        for path in sources(place)
        if way in path.read_text() and path.name != "standing.py"
    ]

    assert by_hand == []


def test_what_stands_at_a_place_is_asked_by_the_method_of_the_book_alone() -> None:
    by_hand = [
        f"{path.relative_to(ROOT)}:{line}"
        for place in ("farm", "ledger")
        for path in sources(place)
        for line in places_asked_by_hand(ast.parse(path.read_text()))
    ]

    assert by_hand == []


@pytest.mark.parametrize(
    ("code", "seen"),
    [
        ("Line.objects.filter(entry__place=7, lot=lot)", [1]),
        ("rows.exclude(line__entry__place__in=[7])", [1]),
        ("Q(returns__entry__place__in=[7])", [1]),
        ("Line.objects.filter(entry__place__gt=7)", []),
        ("Line.objects.standing_at(7).order_by('entry__place')", []),
    ],
)
def test_a_place_asked_by_hand_is_seen(code: str, seen: list[int]) -> None:
    assert list(places_asked_by_hand(ast.parse(code))) == seen
