"""Drying as rows: each run beside its mass balance, each species with its ratio over time."""

from collections.abc import Sequence
from statistics import median

from farm.models import Farm, Species
from farm.queries.store.dryings import DRIED_TO_PPM, Drying, implied_moisture
from farm.reports.curves import ratio_curve
from farm.reports.drawing import Drawing
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table, total_row
from farm.templatetags.farm_format import both, percent, temperature_unit
from farm.units import show_temperature

RUNS = (
    Column("Lot"),
    Column("Dried", Kind.DATE),
    Column("Species"),
    Column("From lots"),
    Column("Fresh in", Kind.MASS),
    Column("Water fresh, wet basis", Kind.RATIO),
    Column("Dried out", Kind.MASS),
    Column("Water left, wet basis", Kind.RATIO),
    Column("Should be, at 10 % left", Kind.MASS),
    Column("Difference", Kind.MASS),
    Column("Fresh to dried"),
    Column("Slices, mm", Kind.COUNT),
    Column("Trays", Kind.COUNT),
    Column("Hours"),
    Column("At"),
)
SPECIES = (
    Column("Species"),
    Column("Runs", Kind.COUNT),
    Column("Fresh in", Kind.MASS),
    Column("Dried out", Kind.MASS),
    Column("All of it, to 1"),
    Column("Median run, to 1"),
    Column("Fresh water that the median implies, wet basis", Kind.RATIO),
    Column("Water as the farm states it, wet basis", Kind.RATIO),
)
NOTE = (
    "Dry matter stays: out = in × (1 − water fresh) ÷ (1 − water left), both on the wet basis. "
    f"“Should be” takes {DRIED_TO_PPM // 10_000} % left, common practice. Below 0 % left, the "
    "fresh mushrooms held more water than the farm states, or a weight is wrong."
)
NO_KILL_STEP = (
    "Drying at usual heat keeps; it is not a kill step. The temperature and the time stand here as "
    "they were used. Cook before eating; follow your local food code."
)


def drying_report(runs: Sequence[Drying], farm: Farm, made: Made, *, of: str) -> Report:
    rows = tuple(_run(one, farm) for one in runs)
    report = Report(
        title="Drying",
        subtitle=of,
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=_facts(runs),
        drawings=_drawings(runs, farm),
        tables=(
            Table("By species", SPECIES, tuple(_species(runs))),
            Table(
                "Runs",
                RUNS,
                rows,
                total_row(
                    RUNS, rows, ("Fresh in", "Dried out", "Should be, at 10 % left", "Difference")
                )
                if rows
                else None,
                note=NOTE,
            ),
        ),
        cautions=(NO_KILL_STEP,),
    )
    return beside_pounds(report, made)


def balance_facts(one: Drying, farm: Farm) -> list[tuple[str, str]]:
    """A run's mass balance in words, for the lot and for the entry: both moistures, wet basis."""
    side = "more" if one.difference_mg > 0 else "less"
    return [
        (
            "Fresh in",
            f"{both(one.fresh_mg, farm)} at {percent(one.fresh_moisture_ppm)} water, wet basis",
        ),
        ("Dried out", f"{both(one.dried_mg, farm)} at {percent(one.left_ppm)} water, wet basis"),
        (
            f"Should be at {percent(DRIED_TO_PPM)} water",
            f"{both(one.expected_mg, farm)}: {both(abs(one.difference_mg), farm)} {side}",
        ),
        ("Fresh to dried", f"{ratio(one.ratio_ppm)} to 1"),
    ]


def ratio(ratio_ppm: int) -> str:
    return f"{ratio_ppm / 1_000_000:.2f}"


def hours(minutes: int) -> str:
    """Say minutes as hours: 630 is “10:30”."""
    return f"{minutes // 60}:{minutes % 60:02}"


def _facts(runs: Sequence[Drying]) -> tuple[Fact, ...]:
    fresh, dried = sum(one.fresh_mg for one in runs), sum(one.dried_mg for one in runs)
    facts = [
        Fact("Runs", len(runs), Kind.COUNT),
        Fact("Fresh in", fresh, Kind.MASS),
        Fact("Dried out", dried, Kind.MASS),
    ]
    if dried:
        facts.append(Fact("Fresh for one dried", f"{fresh / dried:.2f} to 1"))
    return tuple(facts)


def _by_species(runs: Sequence[Drying]) -> dict[Species, list[Drying]]:
    found: dict[Species, list[Drying]] = {}
    for one in runs:
        found.setdefault(one.species, []).append(one)
    return dict(sorted(found.items(), key=lambda pair: pair[0].name))


def _species(runs: Sequence[Drying]) -> list[Row]:
    rows: list[Row] = []
    for species, own in _by_species(runs).items():
        fresh, dried = sum(one.fresh_mg for one in own), sum(one.dried_mg for one in own)
        middle = round(median(one.ratio_ppm for one in own))
        rows.append(
            (
                str(species),
                len(own),
                fresh,
                dried,
                f"{fresh / dried:.2f}",
                ratio(middle),
                implied_moisture(middle),
                species.moisture_ppm,
            )
        )
    return rows


def _drawings(runs: Sequence[Drying], farm: Farm) -> tuple[Drawing, ...]:
    """One drawing a species, where there are runs to compare."""
    return tuple(
        ratio_curve(
            [(one.entry.happened_at.astimezone(farm.zone), one.ratio_ppm / 1e6) for one in own],
            median(one.ratio_ppm for one in own) / 1e6,
            name=str(species),
        )
        for species, own in _by_species(runs).items()
        if len(own) > 1
    )


def _run(one: Drying, farm: Farm) -> Row:
    weights: tuple[Cell, ...] = (one.dried_mg, one.left_ppm, one.expected_mg, one.difference_mg)
    return (
        one.lot.code,
        one.entry.happened_at.astimezone(farm.zone),
        str(one.species),
        ", ".join(lot.code for lot, _ in one.sources),
        one.fresh_mg,
        one.fresh_moisture_ppm,
        *weights,
        ratio(one.ratio_ppm),
        one.slice_mm,
        one.trays,
        hours(one.minutes_drying),
        show_temperature(one.temperature_milli_c, temperature_unit(farm)),
    )
