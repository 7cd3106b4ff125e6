"""Limits that keep every file readable, from the first day and without exceptions.

Complexity, branches and line length are the linter's; see pyproject.toml.
"""

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py",
    "farm", "ledger", "templates", "tests",
}  # fmt: skip
FILE_LINES = 400
TEMPLATE_COLUMNS = 160
FUNCTION_LINES = 50
ARGUMENTS = 7
BY_POSITION = 3

PYTHON = sorted(
    path
    for place in ("farm", "ledger", "tests")
    for path in (ROOT / place).rglob("*.py")
    if "migrations" not in path.parts
)
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions() -> Iterator[tuple[str, Function]]:
    for path in PYTHON:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, Function):
                yield f"{path.relative_to(ROOT)}:{node.lineno} {node.name}", node


def length(node: Function) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def positional(node: Function) -> int:
    """Count what must be given by position or may be, without self and cls."""
    names = [argument.arg for argument in (*node.args.posonlyargs, *node.args.args)]
    return len([name for name in names if name not in ("self", "cls")])


def test_no_file_is_too_long_to_read() -> None:
    lines = {path: len(path.read_text().splitlines()) for path in (*PYTHON, *TEMPLATES)}

    assert {str(path): count for path, count in lines.items() if count > FILE_LINES} == {}


def test_no_line_of_a_template_is_too_long_to_read() -> None:
    longest = {path: max(map(len, path.read_text().splitlines())) for path in TEMPLATES}

    assert {str(path): long for path, long in longest.items() if long > TEMPLATE_COLUMNS} == {}


def test_no_function_is_too_long_to_see_at_once() -> None:
    assert [where for where, node in functions() if length(node) > FUNCTION_LINES] == []


def test_no_function_takes_too_many_arguments() -> None:
    crowded = [
        where
        for where, node in functions()
        if positional(node) + len(node.args.kwonlyargs) > ARGUMENTS
    ]

    assert crowded == []


def test_arguments_beyond_the_third_are_given_by_name() -> None:
    unnamed = [
        where
        for where, node in functions()
        if positional(node) > BY_POSITION and not where.startswith("tests/")
    ]

    assert unnamed == []


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a checkout: nothing is tracked")
def test_the_top_level_stays_as_it_is() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    top = {name.split("/")[0] for name in listed.stdout.splitlines()}

    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_nothing_points_at_the_machine_it_was_written_on() -> None:
    places = ["/" + "work/", "/" + "tmp/", "/" + "home/", "/" + "opt/"]
    found = [
        f"{path.relative_to(ROOT)}: {place}"
        for path in (*PYTHON, *TEMPLATES, *ROOT.glob("*.md"))
        for place in places
        if place in path.read_text()
    ]

    assert found == []


def test_nothing_is_left_for_later_in_the_code() -> None:
    marks = ["TO" + "DO", "FIX" + "ME"]
    found = [
        f"{path.relative_to(ROOT)}: {mark}"
        for path in (*PYTHON, *TEMPLATES)
        for mark in marks
        if mark in path.read_text()
    ]

    assert found == []


def test_only_tables_of_constants_are_laid_out_by_hand() -> None:
    """Whatever else is laid out by the formatter, so that nobody counts columns."""
    mark = "# fmt: " + "skip"
    by_hand = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in PYTHON
        if path.relative_to(ROOT).parts[0] != "tests"
        for number in lines_with(mark, path) - last_lines_of_tables(path)
    ]

    assert by_hand == []


def lines_with(mark: str, path: Path) -> set[int]:
    lines = path.read_text().splitlines()
    return {number for number, line in enumerate(lines, 1) if line.endswith(mark)}


def last_lines_of_tables(path: Path) -> set[int]:
    """Find where the constants of a module and of its classes end that list something."""
    tree = ast.parse(path.read_text())
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    return {
        node.end_lineno or 0
        for body in (tree.body, *(each.body for each in classes))
        for node in body
        if isinstance(node, ast.Assign | ast.AnnAssign)
        and isinstance(node.value, ast.Dict | ast.List | ast.Tuple | ast.Set)
    }
