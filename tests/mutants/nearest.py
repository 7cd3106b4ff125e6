"""Which tests stand nearest to a change: those that call its function, noted by running all."""

import json
import os
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from tests.mutants.changes import Change
from tests.mutants.where import KEPT, ROOT
from tests.shared_farms import shared_farm

CALLS = KEPT / "calls.json"
MOST_OF_ONE, MOST_OF_A_FILE = 3, 25
# How many tests are asked about a change, and for how many seconds: at first, and where none of
# these noticed.
FIRST, THEN = (80, 15.0), (250, 60.0)
A_MOMENT_S = 0.1  # of what takes no longer many are run: a table of cases, one a line


@dataclass(frozen=True)
class Nearest:
    """Tests by the function that they call, as module:name, nearest first."""

    of: dict[str, list[str]]
    seconds: dict[str, float]

    @cached_property
    def _of_file(self) -> dict[str, list[float]]:
        found = defaultdict(list)
        for test, seconds in self.seconds.items():
            found[test.partition("::")[0]].append(seconds)
        return found

    def to(self, change: Change, most: tuple[int, float] = FIRST) -> list[str]:
        """Choose the tests to run for a change; of the module where its function is not known."""
        known = self.of.get(f"{change.module}:{change.scope}")
        if known is None:
            whole = f"{change.module}:"
            known = [
                test for name, tests in self.of.items() if name.startswith(whole) for test in tests
            ]
        return self._some(dict.fromkeys(known), change.module.rpartition(".")[2], most)

    def _some(self, tests: dict[str, None], stem: str, most: tuple[int, float]) -> list[str]:
        most_tests, most_seconds = most
        spent, of_one, of_file, chosen = 0.0, Counter[str](), Counter[str](), list[str]()
        # Stable, so nearest first; but last what first plays a year that its whole file reads.
        for test in sorted(tests, key=lambda each: (_shares_a_farm(each), stem not in each)):
            file, one = test.partition("::")[0], test.partition("[")[0]
            full = of_one[one] >= MOST_OF_ONE or of_file[file] >= MOST_OF_A_FILE
            is_long = self.seconds[test] > A_MOMENT_S
            if len(chosen) >= most_tests:
                break
            cost = self.seconds[test]
            if _shares_a_farm(test) and not of_file[file]:
                is_long, cost = True, max(self._of_file[file])
            if is_long and (full or spent + cost > most_seconds):
                continue
            spent += cost
            of_one[one] += is_long
            of_file[file] += is_long
            chosen.append(test)
        return chosen


def _shares_a_farm(test: str) -> bool:
    return bool(shared_farm(ROOT, test.partition("::")[0]))


def note_calls(tests: Sequence[str] = ()) -> None:
    """Run the whole suite once, or some tests, and note which functions each test calls."""
    noted: dict[str, object] = json.loads(CALLS.read_text()) if tests else {}
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "pytest", "-p", "tests.mutants.plugin", "-q", *tests]
        noting = os.environ | {"MUTANTS_CALLS": folder, "FARM_HISTORIES": "3"}
        subprocess.run(command, cwd=ROOT, env=noting, check=False)
        for part in Path(folder).glob("*.json"):
            noted |= json.loads(part.read_text())
    KEPT.mkdir(parents=True, exist_ok=True)
    CALLS.write_text(json.dumps(noted))


def nearest() -> Nearest:
    """Read what was noted: the tests that do least beside a function are nearest to it."""
    noted = json.loads(CALLS.read_text())
    tests = sorted(noted, key=lambda test: (len(noted[test]["calls"]), noted[test]["seconds"]))
    of = defaultdict(list)
    for test in tests:
        for name in noted[test]["calls"]:
            of[name].append(test)
    return Nearest(dict(of), {test: noted[test]["seconds"] for test in tests})
