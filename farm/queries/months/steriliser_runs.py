"""What the steriliser's runs cost by their load: what is charged a run is shared by what was in."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import QuerySet, Sum

from farm.kinds import growing
from farm.kinds.growing import STERILISER_RUN
from farm.queries.months.months import Month
from ledger.models import Charge, CostKind, Entry, Line, Role


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
    """Read a month's standing runs, oldest first; three queries, whatever their number."""
    standing = list(_standing())
    loads = _loads()
    fullest: dict[str, int] = defaultdict(int)
    for entry in standing:
        name = _steriliser(entry)
        fullest[name] = max(fullest[name], loads[entry.seq].mass_mg)
    within = [entry for entry in standing if month.first <= entry.happened_on <= month.last]
    charged = _charged(entry.seq for entry in within)
    runs = [
        _run(entry, loads[entry.seq], fullest[_steriliser(entry)], money=charged[entry.seq])
        for entry in within
    ]
    return RunsOfMonth(month, tuple(runs))


def curve(run: Run, most: int) -> list[tuple[int, int]]:
    """What a bag would cost at other loads of such a run: one bag, then each eighth of the most."""
    loads = sorted({1, *(most * part // 8 for part in range(1, 9))} - {0})
    return [(bags, round(Fraction(run.cost, bags))) for bags in loads]


@dataclass
class _Load:
    mass_mg: int = 0
    bags: int = 0


def _standing() -> QuerySet[Entry]:
    runs = Entry.objects.filter(kind=STERILISER_RUN, amends=None).standing()
    return runs.order_by("happened_on", "seq")


def _loads() -> dict[int, _Load]:
    """What was in each run."""
    lines = Line.objects.filter(entry__in=_standing().order_by(), role=Role.MADE)
    loads: dict[int, _Load] = defaultdict(_Load)
    for entry, basis, each_mg in lines.values_list("entry_id", "basis", "lot__unit_mass_mg"):
        loads[entry].mass_mg += basis
        loads[entry].bags += basis // max(each_mg or 1, 1)
    return loads


def _charged(entries: Iterable[int]) -> dict[int, dict[str, int]]:
    """What each run was charged, by kind of cost; corrections of it are charged at its place."""
    charges = Charge.objects.standing_at(list(entries))
    sums = charges.values_list("entry__place", "kind").annotate(Sum("amount")).order_by()
    money: dict[int, dict[str, int]] = defaultdict(dict)
    for entry, kind, amount in sums:
        money[entry][kind] = amount
    return money


def _run(entry: Entry, load: _Load, full_mg: int, *, money: Mapping[str, int]) -> Run:
    energy = money.get(CostKind.ENERGY, 0)
    return Run(
        entry=entry.seq,
        day=entry.happened_on,
        steriliser=_steriliser(entry),
        bags=load.bags,
        load_mg=load.mass_mg,
        full_mg=full_mg,
        energy=energy,
        hours=sum(money.values()) - energy,
    )


def _steriliser(entry: Entry) -> str:
    return growing.Run.read(entry.particulars).steriliser or ""
