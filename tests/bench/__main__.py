"""Measure the book against plain ways of doing the same, side by side in one run.

``python -m tests.bench`` builds books of 10,000 and 100,000 lines in a scratch SQLite file and
prints ratios: they mean the same on any machine, milliseconds do not. A planted bad supplier lot
is traced in each; where that differs from plain readings of the lines, the run fails.
"""

import math
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from tests.bench.one_book import Measured, measure_book

SIZES = (10_000, 100_000)


def measured(lines: int) -> Measured:
    act = partial(measure_book, reports=lines == min(SIZES))
    with tempfile.TemporaryDirectory() as folder:
        file = str(Path(folder) / "bench.sqlite3")
        with ProcessPoolExecutor(1, get_context("spawn")) as apart:  # no cache is shared
            return apart.submit(act, file, lines).result()


def show_growth(few: Measured, many: Measured) -> None:
    for name, first, second in (
        ("full pass", few.full_pass, many.full_pass),
        ("work on a month's rows", few.rows, many.rows),
        ("close of a month", few.close, many.close),
    ):
        exponent = math.log(second / first) / math.log(many.lines / few.lines)
        print(f"{name} grows with the lines to the power {exponent:.2f} (goal at most 1.1)")
    for page, seconds in few.pages.items():
        more, longer = many.lines / few.lines, many.pages[page] / seconds
        print(f"{page} takes {longer:.2f}x as long with {more:.0f}x the rows (goal at most 1.5x)")


if __name__ == "__main__":
    books = [measured(size) for size in SIZES]
    print()
    show_growth(*books)
    if any(book.differences for book in books):
        sys.exit("The planted lot is not traced as the lines say.")
