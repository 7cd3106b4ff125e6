"""What contamination and half-empty steriliser runs cost in a month, as rows."""

from collections.abc import Sequence

from farm.queries.months.growing_losses import GrowingLoss, LossesOfMonth
from farm.queries.months.steriliser_runs import Run, RunsOfMonth, curve
from farm.reports.bars import Bar, bars
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, show_cell, total_row
from farm.units import show_count

KINDS = ("Materials", "Paid hours", "Own hours", "Energy", "Room")
LOSSES = (
    Column("Stage"),
    Column("Cause"),
    Column("Lost, bags or blocks", Kind.COUNT),
    Column("Of those in its lots", Kind.COUNT),
    Column("Within the plan", Kind.COUNT),
    Column("Weight", Kind.MASS),
    *(Column(kind, Kind.MONEY) for kind in KINDS),
    Column("Cost", Kind.MONEY),
)
LOSS_SUMS = {"Lost, bags or blocks", "Within the plan", "Weight", *KINDS, "Cost"}
RUNS = (
    Column("Day", Kind.DATE),
    Column("Entry"),
    Column("Steriliser"),
    Column("Bags", Kind.COUNT),
    Column("Load", Kind.MASS),
    Column("Filled, of its fullest load", Kind.RATIO),
    Column("Energy", Kind.MONEY),
    Column("Hours", Kind.MONEY),
    Column("Cost of the run", Kind.MONEY),
    Column("A bag", Kind.MONEY),
    Column("Left empty", Kind.MONEY),
)
RUN_SUMS = {"Bags", "Load", "Energy", "Hours", "Cost of the run", "Left empty"}
CURVE = (Column("Bags in the run", Kind.COUNT), Column("A bag", Kind.MONEY))
SUNK = (
    "Each loss at the cost sunk up to its stage, as it left the book. What the plan allows leaves "
    "without cost: the good ones carry it. Sales forgone are in no row."
)


def losses_report(losses: LossesOfMonth, made: Made) -> Report:
    rows = losses.contamination
    cost = sum(row.money for row in rows)
    units = sum(row.units for row in rows)
    return Report(
        title="What contamination cost",
        subtitle=losses.month.name,
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(
            Fact("Cost beyond plan", cost, Kind.MONEY),
            Fact("Bags and blocks lost", units, Kind.COUNT),
            Fact("Of them within the plan", sum(row.free for row in rows), Kind.COUNT),
        ),
        drawings=(bars(_loss_bars(rows), title=f"By stage and cause, {made.currency}"),),
        tables=(
            _losses("By stage and cause", rows, SUNK),
            _losses("Lost while growing to other causes", losses.others, ""),
        ),
    )


def _losses(title: str, rows: Sequence[GrowingLoss], note: str) -> Table:
    cells: list[Row] = [
        (
            row.stage.label,
            row.cause,
            row.units,
            row.of_units,
            row.free,
            row.mass_mg,
            *row.cost,
            row.money,
        )
        for row in rows
    ]
    return Table(title, LOSSES, tuple(cells), total_row(LOSSES, cells, LOSS_SUMS), note)


def _loss_bars(rows: Sequence[GrowingLoss]) -> list[Bar]:
    return [
        Bar(
            f"{row.stage.label}, {row.cause}",
            row.money,
            f"{_money(row.money)} ({row.units} of {row.of_units})",
        )
        for row in rows
    ]


# --- the steriliser --------------------------------------------------------------------------


def runs_report(figures: RunsOfMonth, made: Made) -> Report:
    runs = figures.runs
    bags = sum(run.bags for run in runs)
    cost = sum(run.cost for run in runs)
    empty = sum(run.empty_cost for run in runs)
    facts = [
        Fact("Runs", len(runs), Kind.COUNT),
        Fact("Energy charged", figures.energy, Kind.MONEY),
        Fact("Energy and hours", cost, Kind.MONEY),
        Fact("Of it for room left empty", empty, Kind.MONEY),
    ]
    if bags:
        facts.append(Fact("A bag, all runs together", round(cost / bags), Kind.MONEY))
    curves = [_curve(name, runs) for name in sorted({run.steriliser for run in runs})]
    return Report(
        title="What a half-full steriliser costs",
        subtitle=figures.month.name,
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=tuple(facts),
        drawings=tuple(
            bars(_load_bars(points), title=f"{name}: what a bag costs by the load, {made.currency}")
            for name, points in curves
        ),
        tables=(_runs(runs), *(_points(name, points) for name, points in curves)),
    )


def _load_bars(points: Sequence[tuple[int, int]]) -> list[Bar]:
    return [Bar(show_count(bags, "bag", "bags"), each, _money(each)) for bags, each in points]


def _curve(name: str, runs: Sequence[Run]) -> tuple[str, list[tuple[int, int]]]:
    """The newest run's cost at other loads, up to as many bags as its fullest load would hold."""
    last = [run for run in runs if run.steriliser == name][-1]
    bag_mg = max(last.load_mg // max(last.bags, 1), 1)
    return name, curve(last, max(last.full_mg // bag_mg, last.bags, 1))


def _runs(runs: Sequence[Run]) -> Table:
    rows: list[Row] = [
        (
            run.day,
            str(run.entry),
            run.steriliser,
            run.bags,
            run.load_mg,
            run.filled_ppm,
            run.energy,
            run.hours,
            run.cost,
            run.per_bag,
            run.empty_cost,
        )
        for run in runs
    ]
    note = (
        "A run costs the same however little is in it. “Left empty” is its cost by the weight "
        "that was missing to the fullest load so far. The energy adds up to what was charged."
    )
    return Table("Run by run", RUNS, tuple(rows), total_row(RUNS, rows, RUN_SUMS), note)


def _points(name: str, points: Sequence[tuple[int, int]]) -> Table:
    note = "As the newest run of the month was charged."
    return Table(f"{name}: what a bag costs by the load", CURVE, tuple(points), note=note)


def _money(amount: int) -> str:
    return show_cell(Column("", Kind.MONEY), amount)
