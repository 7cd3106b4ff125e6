"""What is due, day by day: planned dates of lots, deliveries, loads, bills, papers, drills.

What should have been done before today is due today. Own rule: eight weeks are looked ahead.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils import timezone

from farm.kinds.growing import CHECK, MOVE_TO_FRUITING, PICK, STERILISER_RUN
from farm.kinds.selling import SELL
from farm.models import Drill, Stage, StallDay, Steriliser
from farm.queries.accounts.owed import open_invoices
from farm.queries.day.today import PICK_EARLY_DAYS, SHAKE_AFTER_DAYS
from farm.queries.keeping import is_fresh, keeps_until
from farm.queries.lives import Lives, lives_of
from farm.queries.orders.orders import WEEK, due_between
from farm.queries.sales import open_loads
from farm.queries.stock import all_lots
from ledger.models import Entry, Lot

WEEKS_AHEAD = 8
# Common practice, no source: a trace is practised once a year.
DRILL_EVERY = timedelta(days=365)
KINDS = (STERILISER_RUN, CHECK, MOVE_TO_FRUITING, PICK)


@dataclass(frozen=True)
class Due:
    """Something to do on a day, or until a later one. ``key`` stays the same while it waits.

    ``is_money``: for who may see customers' money.
    """

    key: str
    day: date
    title: str
    about: str
    until: date | None = None
    is_money: bool = False

    @property
    def last(self) -> date:
        return self.until or self.day


def due_from(today: date) -> list[Due]:
    """List what is due from today on, in the order of days; a dozen queries.

    One more a generation of lots that checks split others off.
    """
    lots = list(all_lots().filter(quantity__gt=0, held=False))
    lives = lives_of(lots, KINDS)
    end = today + timedelta(weeks=WEEKS_AHEAD)
    found = [
        *_of_lots(lots, lives, today),
        *_loads(),
        *_deliveries(today, end),
        *_bills(today),
        *_certificates(),
        *_drills(),
    ]
    due = [_not_before(one, today) for one in found]
    return sorted(
        (one for one in due if one.day <= end), key=lambda one: (one.day, one.title, one.key)
    )


def _not_before(due: Due, today: date) -> Due:
    """What is over and still waits, waits today."""
    if due.day >= today:
        return due
    until = due.until if due.until and due.until > today else None
    about = due.about if until else f"{due.about}; was due {due.last:%-d %b}"
    return Due(due.key, today, due.title, about, until, due.is_money)


def _of_lots(lots: list[Lot], lives: Lives, today: date) -> Iterator[Due]:
    for lot in lots:
        stage, made = lot.card.stage, lives.begun[lot.pk]
        if stage in (Stage.GRAIN, Stage.BAGS):
            ran = lives.last.get((lot.pk, STERILISER_RUN))
            title = f"Inoculate {lot.code}" if ran else f"Sterilise {lot.code}"
            about = f"{lot.item}, sterilised {ran:%-d %b}" if ran else f"{lot.item}, filled"
            yield Due(
                f"{'inoculate' if ran else 'sterilise'}-{lot.code}", ran or made, title, about
            )
        elif stage == Stage.SPAWN and (lot.pk, CHECK) not in lives.last:
            shake = made + timedelta(days=SHAKE_AFTER_DAYS)
            yield Due(f"shake-{lot.code}", shake, f"Check and shake {lot.code}", str(lot.item))
        elif stage == Stage.BLOCKS and lot.card.strain:
            yield from _blocks(lot, lives)
        elif stage in (Stage.CROP, Stage.PACKS):
            yield from _crop(lot)


def _blocks(lot: Lot, lives: Lives) -> Iterator[Due]:
    """Blocks are moved once they are grown through, and then picked flush by flush.

    Where the strain is soaked, the soak comes so many days before each flush but the first.
    """
    strain, made = lot.card.strain, lives.begun[lot.pk]
    assert strain
    if (lot.pk, MOVE_TO_FRUITING) not in lives.last:
        day = made + timedelta(days=strain.spawn_run_days)
        yield Due(f"move-{lot.code}", day, f"Move {lot.code} to fruiting", str(lot.item))
        return
    picked = lives.last.get((lot.pk, PICK))
    gap = strain.flush_gap_days if picked else strain.first_pick_days
    day = (picked or made) + timedelta(days=gap)
    flush = "next flush" if picked else "first flush"
    soak = day - timedelta(days=strain.soak_days)
    if picked and strain.soak_days and soak > picked:
        yield Due(f"soak-{lot.code}-{picked}", soak, f"Soak {lot.code}", str(lot.item))
    yield Due(
        f"pick-{lot.code}-{picked or made}",
        day - timedelta(days=PICK_EARLY_DAYS),
        f"Pick {lot.code}",
        f"{lot.item}, {flush} planned for {day:%-d %b}",
        until=day,
    )


def _crop(lot: Lot) -> Iterator[Due]:
    day = keeps_until(lot.card)
    if day and is_fresh(lot.card):
        yield Due(f"use-{lot.code}", day, f"Sell or dry {lot.code} by today", str(lot.item))


def _loads() -> Iterator[Due]:
    loads: list[StallDay] = list(open_loads())
    for load in loads:
        yield Due(f"settle-{load.pk}", load.day, f"Cash up {load.place}", "loaded, not settled yet")


def _deliveries(today: date, end: date) -> Iterator[Due]:
    """Orders still open; one missed in the last week waits today."""
    for one in due_between(today - WEEK, end):
        if one.is_open:
            key, title = f"deliver-{one.order.pk}-{one.day}", f"Deliver to {one.order.customer}"
            yield Due(key, one.day, title, f"order {one.order.pk}")


def _bills(today: date) -> Iterator[Due]:
    """Invoices that customers have yet to pay."""
    for one in open_invoices(today):
        title = f"{one.invoice.customer} pays {one.invoice}"
        yield Due(f"paid-{one.invoice.pk}", one.invoice.due_on, title, "open", is_money=True)


def _certificates() -> Iterator[Due]:
    for one in Steriliser.objects.exclude(inspected_until=None):
        assert one.inspected_until
        key, title = f"inspect-{one.pk}-{one.inspected_until}", f"Inspection of {one} runs out"
        yield Due(key, one.inspected_until, title, "have the pressure vessel inspected")


def _drills() -> Iterator[Due]:
    """A trace drill a year after the last, or after the farm first sold something."""
    last = Drill.objects.first()
    sold = Entry.objects.filter(kind=SELL).order_by("happened_on").first()
    if last:
        day = timezone.localdate(last.started_at) + DRILL_EVERY
        yield Due(f"drill-{day}", day, "Practise a trace", f"the last was {last}")
    elif sold:
        day = sold.happened_on + DRILL_EVERY
        yield Due("drill-first", day, "Practise a trace", "none was done yet")
