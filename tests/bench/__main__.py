"""Measure the book against plain ways of doing the same, side by side in one run.

``python -m tests.bench`` builds books of 10,000 and 100,000 lines in a scratch SQLite file and
prints ratios: they mean the same on any machine, milliseconds do not.
"""

import math
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from tests.bench.one_book import measure_book

SIZES = (10_000, 100_000)

if __name__ == "__main__":
    growth = []
    for size in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            file = str(Path(folder) / "bench.sqlite3")
            with ProcessPoolExecutor(1, get_context("spawn")) as apart:  # no cache is shared
                growth.append(apart.submit(measure_book, file, size).result())
    (few, first), (many, second) = growth
    exponent = math.log(second / first) / math.log(many / few)
    print(f"\nfull pass grows with the lines to the power {exponent:.2f} (goal at most 1.1)")
