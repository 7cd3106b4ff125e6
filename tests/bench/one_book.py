"""One book, built and measured in a process of its own, with its own Django."""

import os

import django
from django.core.management import call_command


def measure_book(file: str, lines: int) -> tuple[int, float]:
    """Build a book and print its ratios; return its lines and the seconds of its full pass."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "farm.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{file}"
    django.setup()
    call_command("migrate", verbosity=0)
    from tests.bench.farm_years import build  # models can be imported only now
    from tests.bench.measures import ratios

    years = build(lines)
    print(f"\n{len(years.lines)} lines, {len(years.entries)} entries, {len(years.lots)} lots")
    return len(years.lines), ratios(years)
