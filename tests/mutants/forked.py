"""Try changes in children of one test run: collected once, on a book that is made once.

A child gives one function the code of its changed self and runs the nearest tests on its own copy
of the book. What is no function's body (a constant, a default) is tried by a run of its own.
"""

import os
import pickle
import shutil
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FunctionType

import pytest
from django.db import connections

from tests.mutants.changes import Change, changed
from tests.mutants.running import Outcome, digest, tried
from tests.mutants.where import ROOT, file_of

PATIENCE_S = 300
# Every test stands below the same folders as this file: between two tests only these stay set up.
WARM = "tests/test_tidy.py"
FIRST_WITH_A_BOOK = "tests/ledger/costing/test_story.py"


@dataclass
class Job:
    """One change, the tests to ask, in turn, and those to ask where none of them noticed."""

    change: Change
    tests: list[str]
    more: list[str]


@dataclass(eq=False)
class Forked:
    """A plugin: it tries changes in place of running what was collected; ``keep`` hears of each."""

    jobs: list[Job]
    keep: Callable[[int, Outcome], None]
    at_once: int
    items: dict[str, pytest.Item] = field(default_factory=dict)
    failed: str = ""
    outcomes: dict[int, Outcome] = field(default_factory=dict)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.items = {item.nodeid: item for item in session.items}
        self._make_the_book()
        running: dict[int, tuple[int, int]] = {}
        waiting = iter(range(len(self.jobs)))
        for number in waiting:
            running |= self._start(number)
            if len(running) >= self.at_once:
                self._wait(running)
        while running:
            self._wait(running)
        return True

    def _make_the_book(self) -> None:
        """Run one test, so that what lasts as long as the run is there for every child."""
        first, last = (
            next(item for name, item in self.items.items() if name.startswith(file))
            for file in (FIRST_WITH_A_BOOK, WARM)
        )
        first.config.hook.pytest_runtest_protocol(item=first, nextitem=last)
        if self.failed:
            raise RuntimeError(f"{self.failed} fails without any change.")
        for each in connections.all():
            each.close()

    def _start(self, number: int) -> dict[int, tuple[int, int]]:
        reading, writing = os.pipe()
        pid = os.fork()
        if pid:
            os.close(writing)
            return {pid: (number, reading)}
        os.close(reading)
        try:
            outcome = self._try(self.jobs[number])
        except BaseException as error:
            outcome = Outcome(killed=False, by=f"cannot be tried: {error!r}", tests="")
        os.write(writing, pickle.dumps(outcome))
        os._exit(0)

    def _wait(self, running: dict[int, tuple[int, int]]) -> None:
        pid, status = os.wait()
        number, reading = running.pop(pid)
        with os.fdopen(reading, "rb") as said:
            told = said.read()
        if os.WIFSIGNALED(status):
            outcome = Outcome(killed=True, by="it never ended", tests=digest([]))
        else:
            outcome = pickle.loads(told)
        self.outcomes[number] = outcome
        self.keep(number, outcome)

    def _try(self, job: Job) -> Outcome:
        """Say what the tests notice of a change, in a child."""
        signal.alarm(PATIENCE_S)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        tests = [test for test in job.tests if test in self.items]
        more = [test for test in job.more if test in self.items and test not in tests]
        if not put_in(job.change):
            outcome = tried(job.change, tests)
            return outcome if outcome.killed else tried(job.change, [*tests, *more])
        asked = [*tests, *more]
        if not asked:
            return Outcome(killed=False, by="no test calls it", tests="")
        own_book()
        items = [self.items[test] for test in asked]
        for item, after in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
            if self.failed:
                return Outcome(killed=True, by=self.failed, tests=digest([self.failed]))
        return Outcome(killed=False, by="", tests=digest(asked))


def own_book() -> None:
    """Work on a copy of the book, where it is a file."""
    for each in connections.all():
        name = str(each.settings_dict["NAME"])
        if each.vendor == "sqlite" and Path(name).exists():
            copy = f"{name}-{os.getpid()}"
            shutil.copyfile(name, copy)
            each.settings_dict["NAME"] = copy


def put_in(change: Change) -> bool:
    """Give a function its changed code; False where that is not all that the change is."""
    module = sys.modules.get(change.module)
    source = file_of(change.module).read_text()
    code = compile(changed(source, change.number), str(file_of(change.module)), "exec")
    found = [each for each in _codes(code) if each.co_qualname == change.scope]
    functions = list(_functions(vars(module), change.scope.split("."))) if module else []
    if len(found) != 1 or len(functions) != 1 or functions[0].__code__ == found[0]:
        return False
    if functions[0].__code__.co_freevars != found[0].co_freevars:
        return False
    functions[0].__code__ = found[0]
    return True


def _codes(code: CodeType) -> Iterator[CodeType]:
    for each in code.co_consts:
        if isinstance(each, CodeType):
            yield each
            yield from _codes(each)


def _functions(names: dict[str, object] | object, path: list[str]) -> Iterator[FunctionType]:
    """Find what stands under a name, below whatever was wrapped around it."""
    inner = names.get(path[0]) if hasattr(names, "get") else None
    if len(path) > 1:
        yield from _functions(dict(vars(inner)) if inner is not None else {}, path[1:])
        return
    for name in ("fget", "func", "__func__", "__wrapped__"):
        while not isinstance(inner, FunctionType) and getattr(inner, name, None) is not None:
            inner = getattr(inner, name)
    while wrapped := getattr(inner, "__wrapped__", None):
        inner = wrapped
    if isinstance(inner, FunctionType):
        yield inner


def try_changes(jobs: list[Job], keep: Callable[[int, Outcome], None], at_once: int) -> None:
    """Try each, in children of one run; ``keep`` hears the number of a job and its outcome."""
    asked = (test for job in jobs for test in (*job.tests, *job.more))
    files = dict.fromkeys([FIRST_WITH_A_BOOK, WARM, *(test.partition("::")[0] for test in asked)])
    os.environ["FARM_HISTORIES"] = "3"
    forked = Forked(jobs, keep, at_once)
    options = ["-q", "-q", "-n", "0", "-s", "-p", "no:cacheprovider", f"--rootdir={ROOT}"]
    there = [file for file in files if (ROOT / file).exists()]
    pytest.main([*options, *there], plugins=[forked])
    left = len(jobs) - len(forked.outcomes)
    if left:
        raise RuntimeError(f"{left} changes were not tried: the tests could not be run.")
