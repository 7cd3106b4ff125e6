"""The cold room and the dryer of the played year: weighings, drying runs, stock counts."""

from collections.abc import Iterable

from farm.actions.common import Doing, Draw, last_day
from farm.actions.signing import Signed
from farm.actions.store.counting import Counted, answer_difference, keep_count
from farm.actions.store.storing import Laid, dry, weigh_again
from farm.demo.clock import Year
from farm.demo.scenery import GRAM
from farm.kinds.store import WEIGH_AGAIN
from farm.models import Answered, Stage, StockCount
from farm.queries.store.counts import Verdict, checked_lines, lots_to_count
from farm.queries.store.in_store import STORED
from ledger.models import Lot

A_DAY, SPREAD = 0.012, 0.0025  # what a crate loses a day as water, and how that varies
COUNT_WEEKS, UNANSWERED = (8, 21, 34, 47, 51), 51
SLICES_MM = {"oyster": 4, "mane": 8, "shiitake": 6}


def weigh_crate(year: Year, lot: Lot) -> None:
    """Weigh a crate again: it lost water, now and then more, and once the sample is remembered."""
    weighed = last_day(lot, [WEIGH_AGAIN]) or lot.made_by.happened_on
    days = (year.clock.date() - weighed).days
    more = 0.03 if year.shelf_dice.random() < 0.1 else 0
    weight = _dried_away(year, lot.quantity, days, more=more)
    if days and 0 < weight < lot.quantity:
        reason = "sample: for a kitchen" if more else ""
        weigh_again(year.doing("tam", reason, sure=True), lot=lot, weight_mg=weight)


def run_dryer(year: Year, key: str, lots: list[Lot]) -> None:
    """Dry some lots together, to between 6 and 12 % water, at about 55 °C for about ten hours."""
    species, dice = year.scenery.strains[key].species, year.shelf_dice
    fresh = fresh_mg(lots)
    wetter = dice.gauss(0, 0.004)  # the fresh mushroom holds more water in a wet week
    dry_share = 1 - species.moisture_ppm / 1e6 - wetter
    dry(
        year.doing("nora", sure=True),
        draws=[Draw(lot, lot.quantity) for lot in lots],
        dried_mg=round(fresh * dry_share / (1 - dice.uniform(0.06, 0.12))) // GRAM * GRAM,
        temperature_milli_c=dice.choice((52_000, 55_000, 57_000)),
        minutes_drying=dice.choice((540, 600, 630, 690)),
        dryer_wh=round(fresh * 1.45 / 1000) // 100 * 100,
        laid=Laid(SLICES_MM[key], -(-fresh // (450 * GRAM)), year.scenery.shelves["jars"]),
    )


def fresh_mg(lots: Iterable[Lot]) -> int:
    """What lots weigh together; packs, what they declare."""
    return sum(lot.quantity * (lot.unit_mass_mg or 1) for lot in lots)


def count_cold_room(year: Year, week: int) -> None:
    """Count the cold room once a quarter, and answer what differs; the last waits for answers."""
    room = year.scenery.shelves["fridge"].room
    lots = lots_to_count(room, STORED)
    if week not in COUNT_WEEKS or not lots:
        return
    doing, tam = year.doing("tam"), year.scenery.people["tam"]
    found = [(lot, _found(year, lot, short=at == 0)) for at, lot in enumerate(lots)]
    counted = Counted(
        uuid=doing.uuid,
        happened_at=doing.happened_at,
        room=room,
        hidden=week != COUNT_WEEKS[0],
        found=found,
    )
    count = keep_count(Signed(tam, tam), counted)
    if week != UNANSWERED:
        _answer(year, count, doing)


def _answer(year: Year, count: StockCount, counted: Doing) -> None:
    for one in checked_lines(count):
        if not one.is_open:
            continue
        why = "" if one.verdict is Verdict.INSIDE else "sample: taken to a kitchen, not written"
        number = year.aside(f"answer {one.line.pk}").uuid
        doing = Doing(by=counted.by, happened_at=counted.happened_at, uuid=number)
        way = one.choices[0]
        if way is Answered.COUNTED and not why:
            way = Answered.LEFT
        answer_difference(doing, one.line, way, note=why)


def _found(year: Year, lot: Lot, *, short: bool) -> int:
    """What stands on the shelf: crates have lost water, and of one a little more is gone."""
    if lot.card.stage != Stage.CROP:
        return lot.quantity
    weighed = last_day(lot, [WEIGH_AGAIN]) or lot.made_by.happened_on
    days = (year.clock.date() - weighed).days
    return max(_dried_away(year, lot.quantity, days, more=0.06 if short else 0), 5 * GRAM)


def _dried_away(year: Year, mass_mg: int, days: int, *, more: float = 0) -> int:
    """A weight some days on, to 5 g as the scale shows it."""
    a_day = max(0.004, year.shelf_dice.gauss(A_DAY, SPREAD))
    left = (1 - a_day) ** days - more
    return round(mass_mg * left) // (5 * GRAM) * 5 * GRAM
