"""Some weeks at the invented farm, with a look at every kind of page in mind."""

from datetime import date, datetime, time

from farm.demo.clock import Year, played_clock
from farm.demo.scenery import build
from farm.demo.year import ZONE, play

FIRST_DAY = date(2026, 1, 5)
# Long enough for oyster to be picked twice, sold, brought back, dried and invoiced.
WEEKS = 10


def play_weeks(weeks: int = WEEKS) -> None:
    year = Year(build(FIRST_DAY), datetime.combine(FIRST_DAY, time(7), tzinfo=ZONE))
    with played_clock(year):
        play(year, lambda week: None, weeks)
