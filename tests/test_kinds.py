"""No kind of entry stands as a word of its own but in the registry (`farm/kinds/`).

A word that happens to be a kind's name, and means something else where it stands, is listed.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from farm.kinds import KINDS, SUBJECTS
from farm.kinds.kind import Kind

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
    "hold": "pages/tracing/reach pages/tracing/trace",  # the name of a button
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
        if isinstance(node, ast.Call | ast.Compare | ast.Subscript) and is_by_hand(node)
    ]

    assert by_hand == []


def is_by_hand(node: ast.Call | ast.Compare | ast.Subscript) -> bool:
    """Say whether code loads particulars as a dict, hands them over as one, or looks into them.

    What is looked into by a key is called so, or by the name of a field that holds more of them.
    """
    if isinstance(node, ast.Compare):
        looks = any(isinstance(op, ast.In | ast.NotIn) for op in node.ops)
        return looks and any(ast.unparse(one).endswith(".particulars") for one in node.comparators)
    if isinstance(node, ast.Subscript):
        return _is_word(node.slice) and _holds_particulars(node.value)
    if ast.unparse(node.func) == "json.loads":
        return any("particulars" in ast.unparse(given) for given in node.args)
    if isinstance(node.func, ast.Attribute) and node.func.attr == "get" and node.args:
        return _is_word(node.args[0]) and _holds_particulars(node.func.value)
    given = [one.value for one in node.keywords if one.arg == "particulars"]
    return any(isinstance(one, ast.Dict) for one in given)


def _is_word(key: ast.expr) -> bool:
    return isinstance(key, ast.Constant) and isinstance(key.value, str)


def _holds_particulars(value: ast.expr) -> bool:
    return ast.unparse(value).rpartition(".")[2] in ("particulars", "terms")


@pytest.mark.parametrize(
    "code",
    [
        'json.loads(run.particulars)["flush"]',
        'post(doing, PICK, [], particulars={"flush": 1})',
        '"form" in entry.particulars',
        'terms["unit_money"]',
        'sale.terms.get("discount_ppm", 0)',
    ],
)
def test_particulars_by_hand_are_seen(code: str) -> None:
    nodes = (ast.Call, ast.Compare, ast.Subscript)
    assert any(is_by_hand(one) for one in ast.walk(ast.parse(code)) if isinstance(one, nodes))


def kinds_imported(tree: ast.Module) -> set[str]:
    froms = [node for node in tree.body if isinstance(node, ast.ImportFrom)]
    of_kinds = [node for node in froms if str(node.module).startswith("farm.kinds")]
    return {each.name for node in of_kinds for each in node.names}


def test_a_table_by_kind_stands_with_its_subject() -> None:
    """What is keyed by kinds of one subject stands in that subject's folder, in any layer."""
    subject_of = {
        name: Path(module.__file__ or "").stem
        for module in SUBJECTS
        for name, value in vars(module).items()
        if isinstance(value, Kind)
    }
    strange = [
        f"{path}: {key.id}"
        for path, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.Dict)
        for key in node.keys
        if isinstance(key, ast.Name) and key.id in kinds_imported(tree) & subject_of.keys()
        if subject_of[key.id] not in Path(path).parts[1:-1]
    ]

    assert strange == []


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
