"""Change the code a little, one place at a time, and see whether a test notices.

``python -m tests.mutants`` draws 200 of all changes by a seed that it prints; with modules named
(``ledger.costing``) it tries all of theirs. It runs the tests nearest to each, lists what nothing
noticed, and keeps what it found in ``.data/mutants``, so that a second run only tries what changed.
Which tests call what is noted once, by a run of the whole suite; ``--note`` notes it anew, of all
tests or of those that are named.
"""

import argparse
import random
import sys
from dataclasses import dataclass

from tests.mutants.changes import Change, changes_in
from tests.mutants.forked import Job, try_changes
from tests.mutants.harmless import why_harmless
from tests.mutants.nearest import CALLS, THEN, Nearest, nearest, note_calls
from tests.mutants.running import Kept, Outcome
from tests.mutants.where import ROOT, file_of, modules

GOAL = 0.95


@dataclass(frozen=True)
class Found:
    change: Change
    outcome: Outcome

    @property
    def why(self) -> str:
        return why_harmless(self.change)


def asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("modules", nargs="*", help="try every change of these modules")
    parser.add_argument("--count", type=int, default=200, help="how many are drawn")
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    parser.add_argument("--at-once", type=int, default=2, help="how many are tried side by side")
    parser.add_argument(
        "--note", nargs="*", metavar="TEST", help="note anew what all tests call, or these"
    )
    return parser.parse_args()


def drawn(given: argparse.Namespace) -> list[Change]:
    """List the changes to try."""
    places = given.modules or modules()
    changes = [each for module in places for each in changes_in(ROOT, file_of(module))]
    if given.modules:
        return changes
    print(f"seed {given.seed}: {given.count} of {len(changes)} changes in {len(places)} modules")
    return random.Random(given.seed).sample(changes, given.count)


def try_all(changes: list[Change], near: Nearest, at_once: int) -> list[Found]:
    """Try what is not known yet, and keep what came of it."""
    kept = Kept()
    found, jobs = list[Found](), list[Job]()
    for change in changes:
        job = Job(change, near.to(change), near.to(change, THEN))
        known = kept.of(change, [*job.tests, *job.more])
        if known:
            found.append(Found(change, known))
        else:
            jobs.append(job)

    def keep(number: int, outcome: Outcome) -> None:
        change = jobs[number].change
        kept.keep(change, outcome)
        found.append(Found(change, outcome))
        if not outcome.killed:
            print(f"  {len(found)}: {change} {outcome.by}", flush=True)

    if jobs:
        try_changes(jobs, keep, at_once)
    return found


def report(found: list[Found]) -> int:
    """Print how many were noticed and which were not; 1 where too many were not."""
    killed = sum(one.outcome.killed for one in found)
    alive = [one for one in found if not one.outcome.killed]
    print(f"noticed: {killed} of {len(found)} ({killed / len(found):.1%})")
    for one in alive:
        print(f"  {one.change}\n      {one.why or one.outcome.by or 'no test notices'}")
    return 0 if killed >= GOAL * len(found) else 1


if __name__ == "__main__":
    given = asked()
    if given.note is not None or not CALLS.exists():
        note_calls(given.note or ())
    sys.exit(report(try_all(drawn(given), nearest(), given.at_once)))
