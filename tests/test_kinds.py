"""No kind of entry stands as a word of its own but in the registry (`farm/kinds/`).

A word that happens to be a kind's name, and means something else where it stands, is listed.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from farm.kinds import KINDS

ROOT = Path(__file__).parent.parent
FARM = ROOT / "farm"
APART = ("kinds", "migrations", "demo")
NAMES = {word for kind in KINDS for word in (kind.name, kind.slug)}
# What else such a word is called by, and in which modules.
PLAIN = {
    # A number of things: a field, a column, a dimension.
    "count": "actions/selling/cashing management/commands/labels models/store/counts"
             " pages/growing/block_forms pages/growing/grain_forms pages/selling/cash_forms"
             " pages/tracing/labels planning/inputs queries/selling/cash"
             " queries/store/later_weights reports/records/record_rows reports/rows",
    # One pack, or what a product is packed in.
    "pack": "actions/selling/pricing actions/starting/start_lookups models/selling/pricing"
            " pages/lookups/lookup_list pages/recording/read_back pages/selling/selling_forms"
            " queries/costs/costs reports/accounts/invoice_rows reports/costs/card_words"
            " reports/orders/packing_list_rows start_book/layout start_book/reading"
            " templatetags/farm_format",
    "check": "pages/orders/orders",  # the colour of a badge
    "check-weights": "pages/frame pages/store/check_weights urls",  # a report's page
    "hold": "pages/tracing/reach",  # the name of a button
    "release": "pages/orders/allotting pages/tracing/reach",  # likewise
    "spent": "actions/growing/harvesting models/goods",  # a usual reason, a state of goods
}  # fmt: skip


def modules() -> Iterator[tuple[str, ast.Module]]:
    for path in sorted(FARM.rglob("*.py")):
        name = path.relative_to(FARM).with_suffix("")
        if name.parts[0] not in APART:
            yield name.as_posix(), ast.parse(path.read_text())


def words_in(tree: ast.AST) -> Iterator[ast.Constant]:
    """Each text of a module, but docstrings."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node


def as_kinds(tree: ast.AST) -> Iterator[str]:
    """Texts that stand where a kind does: given as one, or compared with one."""
    for node in ast.walk(tree):
        given: list[ast.expr] = []
        if isinstance(node, ast.keyword) and "kind" in (node.arg or "").split("__"):
            given = [node.value]
        elif isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            if any(isinstance(side, ast.Attribute) and side.attr == "kind" for side in sides):
                given = sides
        for one in given:
            yield from (word.value for word in words_in(one) if isinstance(word.value, str))


def test_no_kind_is_written_outside_the_registry() -> None:
    written = [
        f"{name}:{word.lineno}: {word.value}"
        for name, tree in modules()
        for word in words_in(tree)
        if word.value in NAMES and name not in PLAIN.get(str(word.value), "").split()
    ]

    assert written == []


def test_a_plain_word_never_stands_where_a_kind_does() -> None:
    written = [
        f"{name}: {word}" for name, tree in modules() for word in as_kinds(tree) if word in NAMES
    ]

    assert written == []


def test_every_plain_word_that_is_listed_is_there() -> None:
    there = {(str(word.value), name) for name, tree in modules() for word in words_in(tree)}
    listed = {(word, name) for word, names in PLAIN.items() for name in names.split()}

    assert listed - there == set()


def test_no_page_asks_an_entry_for_a_kind_by_its_name() -> None:
    asking = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "templates").rglob("*.html")
        if '.kind == "' in path.read_text()
    ]

    assert asking == []


def test_particulars_are_read_and_written_by_their_dataclass_alone() -> None:
    by_hand = [
        f"{name}:{node.lineno}"
        for name, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and is_by_hand(node)
    ]

    assert by_hand == []


def is_by_hand(call: ast.Call) -> bool:
    """Say whether a call loads particulars as a dict, or hands them over as one."""
    if ast.unparse(call.func) == "json.loads":
        return any("particulars" in ast.unparse(given) for given in call.args)
    given = [one.value for one in call.keywords if one.arg == "particulars"]
    return any(isinstance(one, ast.Dict) for one in given)


@pytest.mark.parametrize(
    "code",
    ['json.loads(run.particulars)["flush"]', 'post(doing, PICK, [], particulars={"flush": 1})'],
)
def test_particulars_by_hand_are_seen(code: str) -> None:
    assert any(is_by_hand(one) for one in ast.walk(ast.parse(code)) if isinstance(one, ast.Call))


@pytest.mark.parametrize(
    "code",
    [
        'f(entry__kind="pick")',
        'f(kind__in=("pick", "dry"))',
        'entry.kind == "pick"',
        'one.kind in ("pick", "dry")',
    ],
)
def test_a_kind_is_seen_wherever_it_is_asked_for(code: str) -> None:
    assert "pick" in list(as_kinds(ast.parse(code)))
