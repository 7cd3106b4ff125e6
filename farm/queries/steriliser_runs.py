"""What the steriliser's runs cost by their load: what is charged a run is shared by what was in."""

import json
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import QuerySet, Sum

from farm.queries.months import Month
from ledger.models import Charge, CostKind, Entry, Line, Role

KIND = "steriliser run"


@dataclass(frozen=True)
class Run:
    """One run; ``full_mg``: the heaviest load this steriliser ever had."""

    entry: int
    day: date
    steriliser: str
    bags: int
    load_mg: int
    full_mg: int
    energy: int
    hours: int

    @property
    def cost(self) -> int:
        return self.energy + self.hours

    @property
    def per_bag(self) -> int:
        """What the run cost a bag, rounded half to even."""
        return round(Fraction(self.cost, self.bags)) if self.bags else 0

    @property
    def filled_ppm(self) -> int:
        return self.load_mg * 1_000_000 // self.full_mg if self.full_mg else 0

    @property
    def empty_cost(self) -> int:
        """What the room left empty cost: the run's cost by the weight missing, half to even."""
        if not self.full_mg:
            return 0
        return round(Fraction(self.cost * (self.full_mg - self.load_mg), self.full_mg))


@dataclass(frozen=True)
class RunsOfMonth:
    month: Month
    runs: tuple[Run, ...]

    @property
    def energy(self) -> int:
        return sum(run.energy for run in self.runs)


def runs_of(month: Month) -> RunsOfMonth:
    """Read a month's standing runs; a few queries."""
    within = _standing().filter(happened_on__range=(month.first, month.last))
    fullest = _fullest()
    runs = [_run(entry, fullest) for entry in within.order_by("happened_on", "seq")]
    return RunsOfMonth(month, tuple(runs))


def curve(run: Run, most: int) -> list[tuple[int, int]]:
    """What a bag would cost at other loads of such a run: one bag, then each eighth of the most."""
    loads = sorted({1, *(most * part // 8 for part in range(1, 9))} - {0})
    return [(bags, round(Fraction(run.cost, bags))) for bags in loads]


def _standing() -> QuerySet[Entry]:
    runs = Entry.objects.filter(kind=KIND, amends=None)
    return runs.exclude(amendments__takes_back=True)


def _fullest() -> dict[str, int]:
    """The heaviest load of each steriliser in any run."""
    loads = dict(
        Line.objects.filter(entry__in=_standing(), role=Role.MADE)
        .values_list("entry_id")
        .annotate(Sum("basis"))
        .order_by()
    )
    fullest: dict[str, int] = {}
    for entry in _standing():
        name = _steriliser(entry)
        fullest[name] = max(fullest.get(name, 0), loads.get(entry.seq, 0))
    return fullest


def _run(entry: Entry, fullest: dict[str, int]) -> Run:
    lines = Line.objects.filter(entry=entry, role=Role.MADE).select_related("lot")
    charges = Charge.objects.filter(entry__place=entry.seq).values_list("kind").annotate(
        Sum("amount")
    )  # fmt: skip
    money = dict(charges.order_by())
    energy = money.get(CostKind.ENERGY, 0)
    return Run(
        entry=entry.seq,
        day=entry.happened_on,
        steriliser=_steriliser(entry),
        bags=sum(line.basis // max(line.lot.unit_mass_mg or 1, 1) for line in lines),
        load_mg=sum(line.basis for line in lines),
        full_mg=fullest[_steriliser(entry)],
        energy=energy,
        hours=sum(money.values()) - energy,
    )


def _steriliser(entry: Entry) -> str:
    return str(json.loads(entry.particulars).get("steriliser", ""))
