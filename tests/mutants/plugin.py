"""Within a test run: load one module changed, or note which functions each test calls.

``MUTANT`` names the change as module:number; ``MUTANTS_CALLS`` the folder where calls are noted.
"""

import ast
import json
import os
import sys
from collections.abc import Generator
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType

import pytest

from tests.mutants.changes import changed, functions_of
from tests.mutants.where import is_tried

CHANGED, _, NUMBER = os.environ.get("MUTANT", "").partition(":")
FOLDER = os.environ.get("MUTANTS_CALLS", "")
NOTE = "_note_that_it_was_called"


class Calls:
    """What the test that runs has called, and what each test before it did."""

    now: set[str] = set()
    of: dict[str, list[str]] = {}
    seconds: dict[str, float] = {}


class _Changed(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        source = Path(self.path).read_text()
        return compile(changed(source, int(NUMBER)), self.path, "exec", dont_inherit=True)


class _Noting(SourceFileLoader):
    """Load a module whose functions say first that they were called."""

    def get_code(self, fullname: str) -> CodeType:
        tree = ast.parse(Path(self.path).read_text())
        for scope, node in functions_of(tree):
            note = ast.parse(f"{NOTE}({f'{fullname}:{scope}'!r})").body[0]
            node.body.insert(1 if ast.get_docstring(node) else 0, note)
        return compile(ast.fix_missing_locations(tree), self.path, "exec", dont_inherit=True)

    def exec_module(self, module: ModuleType) -> None:
        module.__dict__[NOTE] = Calls.now.add
        super().exec_module(module)


class _Finder(PathFinder):
    @classmethod
    def find_spec(cls, fullname, path=None, target=None) -> ModuleSpec | None:  # type: ignore[no-untyped-def]  # noqa: ANN001
        loader = _loader_of(fullname)
        found = PathFinder.find_spec(fullname, path, target) if loader else None
        if found and found.origin and loader:
            found.loader = loader(fullname, found.origin)
        return found


def _loader_of(module: str) -> type[SourceFileLoader] | None:
    if FOLDER:
        return _Noting if is_tried(module) else None
    return _Changed if module == CHANGED else None


if CHANGED or FOLDER:
    sys.meta_path.insert(0, _Finder)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Run the nearest tests first, as they were named; Django's would come before plain ones."""
    if CHANGED:
        named = {name: place for place, name in enumerate(config.args)}
        items.sort(key=lambda item: named.get(item.nodeid, len(named)))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, object, object]:
    Calls.now.clear()
    outcome = yield
    Calls.of[item.nodeid] = sorted(Calls.now)
    return outcome


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    Calls.seconds[report.nodeid] = Calls.seconds.get(report.nodeid, 0) + report.duration
    if not report.passed:
        Calls.seconds[report.nodeid] = float("inf")


def pytest_sessionfinish() -> None:
    if FOLDER and Calls.of:
        noted = {
            node: {"seconds": Calls.seconds[node], "calls": calls}
            for node, calls in Calls.of.items()
            if Calls.seconds[node] < float("inf")
        }
        file = Path(FOLDER) / f"{os.environ.get('PYTEST_XDIST_WORKER', 'one')}.json"
        file.write_text(json.dumps(noted))
