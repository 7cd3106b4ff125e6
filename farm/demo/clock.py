"""The state of the play: its clock, its dice, and what is due on which day."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from unittest.mock import patch
from uuid import NAMESPACE_OID, UUID, uuid5

from django.utils import timezone

from farm.actions.common import Doing
from farm.demo.scenery import Scenery


@dataclass
class Year:
    """The state of the play: the clock, the dice, and what is due on which day."""

    scenery: Scenery
    clock: datetime
    dice: Random = field(default_factory=lambda: Random(20))
    shelf_dice: Random = field(default_factory=lambda: Random(31))
    due: dict[date, list[Callable[[], None]]] = field(default_factory=lambda: defaultdict(list))

    def doing(self, who: str = "nora", reason: str = "", *, sure: bool = False) -> Doing:
        """Let some minutes pass and say who does the next thing."""
        self.clock += timedelta(minutes=self.dice.randint(4, 11))
        return Doing(
            by=self.scenery.people[who],
            happened_at=self.clock,
            uuid=UUID(int=self.dice.getrandbits(128), version=4),
            reason=reason,
            sure=sure,
        )

    def aside(self, what: str, reason: str = "", *, who: str = "nora", sure: bool = False) -> Doing:
        """Say who does something beside the dice, so that the rest of the year stays as it is."""
        return Doing(
            by=self.scenery.people[who],
            happened_at=self.clock,
            uuid=uuid5(NAMESPACE_OID, f"{what} {self.clock}"),
            reason=reason,
            sure=sure,
        )

    def after(self, days: int, job: Callable[[], None]) -> None:
        self.due[self.clock.date() + timedelta(days=days)].append(job)

    def about(self, amount: int, spread: float = 0.18) -> int:
        """Draw an amount around the given one."""
        return max(1, round(amount * self.dice.gauss(1, spread)))


@contextmanager
def played_clock(year: Year) -> Iterator[None]:
    """Let entries be recorded at the played time: a year told in a minute is not a late year."""
    with patch.object(timezone, "now", lambda: year.clock + timedelta(minutes=1)):
        yield
