"""The records that the invented farm keeps beside its book; values are drawn, nothing is measured.

It has dice of its own, so that the year's lots weigh the same with records and without.
"""

from datetime import timedelta
from random import Random
from typing import Any
from uuid import UUID

from farm.actions.records.records import Stated, keep_record, review
from farm.actions.records.run_readings import Source, attach_readings
from farm.actions.signing import Signed
from farm.demo.clock import Year
from farm.kinds.growing import STERILISER_RUN
from farm.models import Record
from farm.queries.records.records import to_review
from farm.readings import Reading, Units
from farm.records import BY_SLUG, CLEANING, ILLNESS, STORE, TRAINING
from ledger.models import Entry

QUARTER = 13  # weeks
NOT_READ = {(20, 2), (33, 5), (33, 6)}  # week and day: somebody forgot
EVENING = timedelta(hours=11)
LATE, WARM, MISREAD = (9, 3), (26, 3), (40, 1)
RUNS_LOGGED_FROM = 44
MINUTES_UP, MINUTES_HELD, STEP = 75, 150, 5


class Keeper:
    """Who keeps the records of a year."""

    def __init__(self, year: Year) -> None:
        self.year = year
        self.dice = Random(112)

    def day(self, week: int, day: int) -> None:
        """Keep what is due on a day."""
        if (week, day) not in NOT_READ:
            self.read_store((week, day))
            self.read_in_the_evening(week, day)
        if day == 4:
            self.keep(
                CLEANING,
                "tam",
                what="Harvest table, knives and crates",
                method="Washed, rinsed, sanitised, air-dried",
                product="Food sanitiser",
                concentration="200 ppm",
                contact="2 min",
            )
        if day == 5 and week < 50:
            owner = self.year.scenery.people["nora"]
            for record in to_review().exclude(by=owner):
                review(record, owner)
        if day == 1 and week % QUARTER == 0:
            self.quarter(week)

    def read_in_the_evening(self, week: int, day: int) -> None:
        """Read the store again; in the evening nothing was ever out of the way."""
        morning = self.year.clock
        self.year.clock = morning + EVENING
        self.read_store((week, day + 7))
        self.year.clock = morning

    def read_store(self, when: tuple[int, int]) -> None:
        shelf = self.year.scenery.shelves["fridge"]
        said: dict[str, Any] = {
            "read_milli_c": 2_000 + self.dice.randrange(16) * 100,
            "high_milli_c": 5_000,
            "thermometer": "probe 1",
        }
        if when == WARM:
            said |= {
                "read_milli_c": 8_400,
                "done": "Door had stood open; shut, and read again",
                "disposition": "Looked over; the oldest pick thrown away",
            }
        who = "tam" if when[1] % 2 else "nora"
        read = self.keep(STORE, who, room=shelf.room, days_ago=2 if when == LATE else 0, **said)
        if when == MISREAD:
            said["read_milli_c"] = 3_900
            self.keep(STORE, who, room=shelf.room, corrects=read, note="Misread by a line", **said)

    def quarter(self, week: int) -> None:
        """Keep what is done four times a year."""
        self.keep(
            TRAINING,
            "tam",
            topics="Hands, knives, reading the thermometer",
            people="T",
            trainer="N",
        )
        self.keep(
            "water",
            "tam",
            source="Tap in the packing shed",
            laboratory="county laboratory",
            analyte="generic E. coli",
            result="below 1 in 100 ml",
            limit="none in 100 ml",
            meets="yes",
        )
        self.keep(
            "thermometer",
            "nora",
            thermometer="probe 1",
            allowed_milli_c=1_000,
            read_milli_c=self.dice.randrange(-4, 5) * 100,
        )
        self.keep(
            "scale",
            "nora",
            scale="packing scale",
            test_mg=500_000,
            read_mg=500_200,
            allowed_mg=1_000,
        )
        self.keep("pests", "tam", device="4, by the door", finding="nothing")
        if week == 0:
            self.keep(
                "maintenance",
                "nora",
                what="Steriliser",
                work="yearly inspection",
                by_whom="an inspector",
                certificate="none: invented",
            )
            self.keep(ILLNESS, "nora", who="Tam", symptoms="stomach", touched="nothing")

    def log_runs(self, week: int) -> None:
        """Attach a logger's readings to the runs of the last weeks."""
        logged = Entry.objects.filter(kind=STERILISER_RUN, run_readings=None, amends=None)
        if week >= RUNS_LOGGED_FROM:
            for run in logged.filter(happened_on=self.year.clock.date()):
                attach_readings(
                    self.signed("tam"),
                    run,
                    readings=self.readings(run),
                    uuid=self.uuid(),
                    source=Source(
                        name="logger.csv",
                        units=Units("C", "kPa"),
                        probe="core of a bag, middle shelf",
                    ),
                )

    def readings(self, run: Entry) -> list[Reading]:
        """A climb, a hold and a fall: the core lags behind the steam."""
        found, core_c = [], 18.0
        for minute in range(0, MINUTES_UP + MINUTES_HELD + 60, STEP):
            falls = minute > MINUTES_UP + MINUTES_HELD
            steam_c = 60 if falls else min(121.0, 20 + 101 * minute / MINUTES_UP)
            core_c += (steam_c - core_c) * 0.17
            gauge_pa = 0 if falls or steam_c < 100 else round(104_000 * (steam_c - 100) / 21)
            at = run.happened_at + timedelta(minutes=minute)
            found.append(Reading(at, round(core_c * 10) * 100, gauge_pa))
        return found

    def keep(
        self,
        slug: str,
        who: str,
        /,
        *,
        corrects: Record | None = None,
        days_ago: int = 0,
        **said: Any,
    ) -> Record:
        beside = {name: said.pop(name) for name in ("room", "note") if name in said}
        at = self.year.clock - timedelta(days=days_ago)
        stated = Stated(kind=BY_SLUG[slug], happened_at=at, uuid=self.uuid(), values=said, **beside)
        return keep_record(self.signed(who), stated, corrects=corrects)

    def signed(self, who: str) -> Signed:
        person = self.year.scenery.people[who]
        return Signed(person, person)

    def uuid(self) -> UUID:
        return UUID(int=self.dice.getrandbits(128), version=4)
