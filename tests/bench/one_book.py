"""One book, built and measured in a process of its own, with its own Django."""

import gc
import os
from typing import NamedTuple

import django
from django.core.management import call_command


class Measured(NamedTuple):
    """Seconds by the number of lines; ``differences``: what the planted lot should have shown.

    ``pages``: seconds of each page by its address.
    """

    lines: int
    full_pass: float
    rows: float
    close: float
    differences: list[str]
    pages: dict[str, float]


def measure_book(file: str, lines: int, *, reports: bool) -> Measured:
    """Build a book, hold its planted lot against plain readings, and print its ratios."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "farm.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{file}"
    django.setup()
    call_command("migrate", verbosity=0)
    from tests.bench.farm_measures import measure_closing, measure_traces  # no models before now
    from tests.bench.farm_rows import attach
    from tests.bench.farm_years import build
    from tests.bench.measures import ratios
    from tests.bench.page_measures import measure_pages
    from tests.bench.planted import differences
    from tests.bench.report_measures import measure_reports

    years = build(lines)
    rows = attach(years)
    gc.freeze()  # the generator's own rows are no part of what is measured
    print(f"\n{len(years.lines)} lines, {len(years.entries)} entries, {len(years.lots)} lots")
    found = differences(years, rows)
    print(f"planted lot, beside plain readings: {'; '.join(found) or 'no difference'}")
    measure_traces(years, rows)
    if reports:
        measure_reports()
    pages = measure_pages(rows.owner)
    closed = measure_closing(rows)
    return Measured(len(years.lines), ratios(years), closed.rows, closed.close, found, pages)
