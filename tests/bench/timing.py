"""How everything is timed and shown, so that ratios of one run can be compared."""

import statistics
import time
from collections.abc import Callable


def median(act: Callable[[], object], *, runs: int) -> float:
    return statistics.median(spent(act) for _ in range(runs))


def spent(act: Callable[[], object]) -> float:
    """Processor time: a machine that is busy with something else does not disturb it."""
    start = time.process_time()
    act()
    return time.process_time() - start


def show(name: str, ours: float, plain: float, goal: str) -> None:
    ratio = ours / plain
    print(f"{name:44} {ours * 1e3:10.3f} ms {plain * 1e3:10.3f} ms  {ratio:8.4f}x  ({goal})")
