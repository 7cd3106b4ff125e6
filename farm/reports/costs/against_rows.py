"""Plan against actual as rows: a batch, and the batches finished in a month."""

from collections.abc import Iterable, Sequence

from farm import habits
from farm.habits import to_places
from farm.planning.variance import DIFFERENCES, Factor
from farm.queries.costs.against_plan import BatchAgainst, MonthAgainst
from farm.reports.bars import Step, waterfall
from farm.reports.costs.plan_bars import PlanBar, plan_bars
from farm.reports.drawing import Drawing
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table, show_cell, total_row

ORDER = (
    "The plan takes the place of the actual figures in this order: price at the quantity used; "
    "quantity at the planned price; loss, then yield, at what a block was planned to cost. "
    "Above nothing is dearer than planned. The four add up to the whole difference."
)
FACTORS = (
    Column("What"),
    Column("Unit"),
    Column("Planned"),
    Column("Used"),
    Column("Cost planned", Kind.MONEY),
    Column("Cost", Kind.MONEY),
    Column("Price", Kind.MONEY),
    Column("Quantity", Kind.MONEY),
)
FACTOR_SUMS = {"Cost planned", "Cost", "Price", "Quantity"}
BATCHES = (
    Column("Block lot"),
    Column("Strain"),
    Column("Blocks started", Kind.COUNT),
    Column("Good", Kind.COUNT),
    Column("Picked", Kind.MASS),
    Column("Cost planned for that", Kind.MONEY),
    Column("Cost", Kind.MONEY),
    *(Column(name.capitalize(), Kind.MONEY) for name in DIFFERENCES),
    Column("Whole difference", Kind.MONEY),
)
BATCH_SUMS = {column.name for column in BATCHES if column.is_number}
WORDS = {
    "price": "Price: paid more or less than planned",
    "quantity": "Quantity: used more or less than planned",
    "loss": "Loss: blocks lost before the first pick",
    "yield": "Yield: weight from the good blocks",
}
DIGITS = {"kg": Kind.MASS, "pieces": Kind.COUNT}


def batch_against_report(one: BatchAgainst, made: Made) -> Report:
    batch, found = one.batch, one.found
    strain = batch.root.card.strain
    return Report(
        title=f"{batch.root.code} against its plan",
        subtitle=f"Blocks, {strain} · started {habits.day(batch.root.made_by.happened_on)}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=_facts(one),
        drawings=_drawings(found.planned, found.parts, found.factors, currency=made.currency),
        tables=(_parts_table(found.planned, found.parts), _factors(found.factors)),
    )


def month_against_report(figures: MonthAgainst, made: Made) -> Report:
    planned = sum(one.found.planned for one in figures.batches)
    parts = [
        sum(amounts) for amounts in zip(*(one.found.parts for one in figures.batches), strict=True)
    ] or [0] * len(DIFFERENCES)
    factors = _added(one.found.factors for one in figures.batches)
    facts = [Fact("Batches whose last block went in the month", len(figures.batches), Kind.COUNT)]
    if figures.unplanned:
        facts.append(Fact("Without a plan, left out", ", ".join(figures.unplanned)))
    return Report(
        title=f"{figures.month.name} against plan",
        subtitle="Batches are counted in the month in which they were finished, with all their "
        "cost",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(*facts, *_sums(planned, parts)),
        drawings=_drawings(planned, parts, factors, currency=made.currency),
        tables=(_parts_table(planned, parts), _batches(figures), _factors(factors)),
    )


def _facts(one: BatchAgainst) -> tuple[Fact, ...]:
    batch = one.batch
    planned = to_places(one.kept_ppm / 10_000, 1)
    good = f"{batch.good} of {batch.started} started; planned {planned} %"
    facts = [
        Fact("Plan", one.source),
        *_sums(one.found.planned, one.found.parts),
        Fact("Good blocks", good),
        Fact("Picked", batch.picked_mg, Kind.MASS),
        Fact("Planned from a good block", one.yield_mg, Kind.MASS),
    ]
    if not batch.is_finished:
        facts += [
            Fact("Still expected, counted as if picked", batch.expected_mg, Kind.MASS),
            Fact("Provisional", f"{batch.on_hand} blocks are not finished"),
        ]
    return tuple(facts)


def _sums(planned: int, parts: Sequence[int]) -> tuple[Fact, ...]:
    return (
        Fact("Cost", planned + sum(parts), Kind.MONEY),
        Fact("Planned for what came of it", planned, Kind.MONEY),
        Fact("Whole difference", sum(parts), Kind.MONEY),
    )


def _parts_table(planned: int, parts: Sequence[int]) -> Table:
    columns = (Column("Step"), Column("Difference", Kind.MONEY))
    rows: list[Row] = [("Planned for what came of it", planned)]
    rows += [(WORDS[name], part) for name, part in _latest_first(parts)]
    return Table(
        "From the plan to what it cost",
        columns,
        tuple(rows),
        ("What it cost", planned + sum(parts)),
        note=ORDER,
    )


def _latest_first(parts: Sequence[int]) -> list[tuple[str, int]]:
    """From the plan to the actual the steps are walked backwards."""
    return list(zip(DIFFERENCES, parts, strict=True))[::-1]


def _factors(factors: Sequence[Factor]) -> Table:
    rows: list[Row] = [
        (
            one.name,
            one.unit,
            _amount(one.unit, one.planned_quantity),
            _amount(one.unit, one.used_quantity),
            one.planned,
            one.actual,
            one.price,
            one.quantity,
        )
        for one in factors
    ]
    note = "Planned for the blocks started; hours of picking for the weight picked."
    return Table("What it took", FACTORS, tuple(rows), total_row(FACTORS, rows, FACTOR_SUMS), note)


def _amount(unit: str, quantity: int) -> str:
    """Say a quantity: mg in kg, pieces as they are, thousandths of hours, kWh and block-days."""
    return show_cell(
        Column("", DIGITS.get(unit, Kind.MASS)), quantity if unit in DIGITS else quantity * 1_000
    )


def _batches(figures: MonthAgainst) -> Table:
    rows: list[Row] = []
    for one in figures.batches:
        batch, found = one.batch, one.found
        cells: tuple[Cell, ...] = (
            batch.started,
            batch.good,
            batch.picked_mg,
            found.planned,
            found.actual,
            *found.parts,
            found.whole,
        )
        rows.append((batch.root.code, str(batch.root.card.strain), *cells))
    total = total_row(BATCHES, rows, BATCH_SUMS)
    return Table("Batch by batch", BATCHES, tuple(rows), total)


def _added(batches: Iterable[Sequence[Factor]]) -> list[Factor]:
    sums: dict[tuple[str, str], list[int]] = {}
    for one in (factor for factors in batches for factor in factors):
        numbers = (one.used_quantity, one.planned_quantity, one.actual, one.planned, one.price)
        key = (one.name, one.unit)
        sums[key] = [a + b for a, b in zip(sums.get(key, [0] * 5), numbers, strict=True)]
    return [Factor(name, unit, *numbers) for (name, unit), numbers in sums.items()]


def _drawings(
    planned: int, parts: Sequence[int], factors: Sequence[Factor], *, currency: str
) -> tuple[Drawing, ...]:
    steps = [Step("Planned for what came", planned)]
    steps += [Step(name.capitalize(), part) for name, part in _latest_first(parts)]
    bars = [PlanBar(one.name, one.planned, one.actual) for one in factors]
    return (
        waterfall(
            [*steps, Step("What it cost")], title="From the plan to what it cost", unit=currency
        ),
        plan_bars(bars, title="Planned and actual", unit=currency),
    )
