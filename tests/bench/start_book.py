"""Read a starting workbook in, beside as many calls of `record`: python -m tests.bench.start_book

Each side works on an empty book in a scratch SQLite file of its own. The calls write drafts with
the same lots, quantities and costs, each in a transaction of its own as a form's is; the reading
writes look-ups and the farm's cards on top.
"""

import os
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from uuid import uuid4

import django
from django.core.management import call_command

ENTRIES, GOAL = 10_000, 1.2
DAY = date(2026, 5, 2)


def read_in(file: str, entries: int) -> float:
    """Return the processor seconds of reading so many rows in."""
    _start(file)
    from farm.actions.starting.start_book import read_in as act  # models can be imported only now
    from farm.start_book.layout import BY_KEY
    from farm.start_book.reading import Filled, Row
    from tests.farm.world import small_farm

    world, filled = small_farm(), Filled()
    for number in range(entries):
        row = Row(BY_KEY["supplies"], number)
        row |= dict.fromkeys(("use", "piece_mg", "supplier", "supplier_lot", "best_before"))
        row |= {"supply": "rye", "quantity": 1_000 + number, "cost_money": number, "day": DAY}
        filled.rows["supplies"].append(row)
    doing, began = world.doing(), time.process_time()
    act(doing, filled, name="bench", sha256="")
    return time.process_time() - began


def record(file: str, entries: int) -> float:
    """Return the processor seconds of so many calls of record."""
    _start(file)
    from farm.actions.common import draft
    from farm.kinds.starting import OPENING_STOCK, FromWorkbook
    from ledger.book import record as act
    from ledger.drafts import LineDraft, NewLot
    from tests.farm.world import small_farm

    world = small_farm()
    item, doing = world.supplies["rye"].item, world.doing()
    plain = draft(doing, OPENING_STOCK, [], said=FromWorkbook(sheet="Supplies on hand", row=1))
    drafts = [
        plain.but(uuid=uuid4(), lines=(LineDraft(NewLot(item), "bought", 1_000 + n, money=n),))
        for n in range(entries)
    ]
    began = time.process_time()
    for one in drafts:
        act(one)
    return time.process_time() - began


def _start(file: str) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "farm.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{file}"
    django.setup()
    call_command("migrate", verbosity=0)


if __name__ == "__main__":
    seconds = []
    for side in (read_in, record):
        with tempfile.TemporaryDirectory() as folder:
            path = str(Path(folder) / "bench.sqlite3")
            with ProcessPoolExecutor(1, get_context("spawn")) as apart:
                seconds.append(apart.submit(side, path, ENTRIES).result())
    ours, plain = seconds
    print(
        f"{ENTRIES} entries: reading in {ours:.2f} s, as many calls of record {plain:.2f} s, "
        f"{ours / plain:.3f}x (goal at most {GOAL}x)"
    )
