"""Fifty-two weeks at the invented farm, one action after another, by a fixed seed.

Every action is called as a page would call it. What the weeks do is set by a calendar; the
weights are drawn at random, so that lots differ as they do.
"""

from collections.abc import Callable
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from farm.demo.clock import Year
from farm.demo.closing import close_last_month, put_right
from farm.demo.growing import monday, scare, slip
from farm.demo.keeping import Keeper
from farm.demo.papers import promise_next, send_back
from farm.demo.planning import save_cards
from farm.demo.recalling import open_recall_of_a_pick
from farm.demo.trade import sell_week

WEEKS = 52
ZONE = ZoneInfo("Europe/Dublin")


def play(year: Year, progress: Callable[[int], None], weeks: int = WEEKS) -> None:
    """Play the whole year; ``progress`` is told of each week that begins."""
    first, keeper = year.clock.date(), Keeper(year)
    for week in range(weeks):
        progress(week)
        for day in range(7):
            today = first + timedelta(weeks=week, days=day)
            year.clock = datetime.combine(today, time(7), tzinfo=ZONE)
            keeper.day(week, day)
            close_last_month(year)
            if day == 0:
                save_cards(year, week)
                monday(year, week)
            for job in year.due.pop(today, []):
                job()
            sell_week(year, week, day)
            keeper.log_runs(week)
        if week == 10:
            send_back(year)
        if week == 30:
            scare(year)
        if week == 12:
            slip(year)
    put_right(year)
    promise_next(year)
    open_recall_of_a_pick(year)
