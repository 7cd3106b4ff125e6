"""Fourteen weeks at the invented farm: played once in each process, for all tests that read them.

Long enough for three months to be closed, for what is paid, sent back and found late, and for a
typing mistake that is taken back in the thirteenth.
"""

from datetime import date, datetime, time

from django.db import connection

from farm.demo.clock import Year, played_clock
from farm.demo.scenery import build
from farm.demo.year import ZONE, play
from ledger.models import Lot
from tests.copied import copied

FIRST_DAY = date(2026, 1, 5)
WEEKS = 14
# Long enough for oyster to be picked, sold, brought back and dried.
TWICE_WEEKS = 8

Lots = list[tuple[str, int, int]]  # code, quantity, own cost


def play_weeks(weeks: int = WEEKS) -> Lots:
    """Play, and give the lots back as they were at the end of the weeks that are played twice."""
    year = Year(build(FIRST_DAY), datetime.combine(FIRST_DAY, time(7), tzinfo=ZONE))
    seen: Lots = []

    def look(week: int) -> None:
        _count_rows()
        if week == TWICE_WEEKS - 1:
            seen.extend(Lot.objects.order_by("pk").values_list("code", "quantity", "own"))

    with played_clock(year):
        play(year, look, weeks)
    return seen


def _count_rows() -> None:
    """Let PostgreSQL count, as it does by itself in a farm's weeks but not within a transaction.

    Without a count it plans each question as for an empty table, and takes seconds for it.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


@copied
def played_weeks() -> Lots:
    """Copy the weeks that were played before; a test may change its copy."""
    return play_weeks()
