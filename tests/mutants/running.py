"""Run the nearest tests of a change, and keep what came of it."""

import hashlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass

from tests.mutants.changes import Change
from tests.mutants.where import KEPT, ROOT

RESULTS = KEPT / "results.json"
PATIENCE_S = 300
FAILED = re.compile(r"^(?:FAILED|ERROR) (\S+?)(?: - |$)", re.MULTILINE)


@dataclass(frozen=True)
class Outcome:
    """``by``: the test that noticed; ``tests``: digest of the files of tests that were asked."""

    killed: bool
    by: str
    tests: str


class Kept:
    """What came of earlier changes: it stands while the function and its tests are the same."""

    def __init__(self) -> None:
        kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
        self._outcomes = {key: Outcome(**each) for key, each in kept.items()}

    def of(self, change: Change, tests: list[str]) -> Outcome | None:
        known = self._outcomes.get(change.key)
        if known is None:
            return None
        asked = [known.by] if known.killed else tests
        return known if known.tests == digest(asked) else None

    def keep(self, change: Change, outcome: Outcome) -> None:
        self._outcomes[change.key] = outcome
        KEPT.mkdir(parents=True, exist_ok=True)
        RESULTS.write_text(json.dumps({key: asdict(one) for key, one in self._outcomes.items()}))


def digest(tests: Iterable[str]) -> str:
    """Digest the files that some tests stand in."""
    files = sorted({test.partition("::")[0] for test in tests if "::" in test})
    texts = [(ROOT / file).read_bytes() for file in files if (ROOT / file).exists()]
    return hashlib.sha256(b"\0".join(texts)).hexdigest()[:16]


def tried(change: Change, tests: list[str]) -> Outcome:
    """Make one change, and run tests until one of them notices."""
    if not tests:
        return Outcome(killed=False, by="no test calls it", tests="")
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-n",
        "0",
        "--tb=no",
        "-p",
        "tests.mutants.plugin",
        "-p",
        "no:cacheprovider",
        *tests,
    ]
    within = os.environ | {
        "MUTANT": f"{change.module}:{change.number}",
        "FARM_HISTORIES": "3",
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    try:
        ran = subprocess.run(
            command,
            cwd=ROOT,
            env=within,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Outcome(killed=True, by="it never ended", tests=digest([]))
    if ran.returncode not in (0, 1, 2, 3):
        raise RuntimeError(f"{change}: pytest says {ran.stderr or ran.stdout}")
    if ran.returncode == 0:
        return Outcome(killed=False, by="", tests=digest(tests))
    noticed = FAILED.search(ran.stdout)
    by = noticed.group(1) if noticed else "the site does not start"
    return Outcome(killed=True, by=by, tests=digest([by]))
