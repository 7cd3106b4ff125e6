"""Check weights as rows: each record with its verdict, and how full to fill each product."""

from collections.abc import Sequence

from farm.queries.store.check_weights import Filling, Weighing
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table
from farm.units import show_mass

WEIGHED = (
    Column("Day", Kind.DATE), Column("Lot"), Column("Product"), Column("Verdict"),
    Column("Packs", Kind.COUNT), Column("Average"), Column("Least"),
    Column("Days to sell", Kind.COUNT), Column("Average then"), Column("Least then"),
    Column("Then short", Kind.COUNT), Column("Scale"),
)  # fmt: skip
FILL = (
    Column("Product"), Column("Declares"), Column("Days to sell", Kind.COUNT),
    Column("Loses a day", Kind.RATIO), Column("Where from"), Column("Scatter"),
    Column("Packs weighed", Kind.COUNT), Column("Fill"), Column("Over", Kind.RATIO),
    Column("One pack may be short by"),
)  # fmt: skip
FILL_NOTE = (
    "Filled so, 95 % of packs still hold what they declare on their last day of sale, after the "
    "water loss expected of them. Scatter is the standard deviation of the farm's own check "
    "weights, the widest of them; without any, 1 % of the weight, common practice, no source."
)
RULE = (
    "Good where, on the last day of sale, the average holds what is declared and no pack is short "
    "by more than the tolerance; none may be short by twice that. It is your own check: your "
    "inspector's table and scale decide."
)


def check_weight_report(
    weighings: Sequence[Weighing], fillings: Sequence[Filling], *, unit: str, made: Made
) -> Report:
    """``unit``: g or oz, in which packs are weighed."""
    failed = sum(not one.judged.holds for one in weighings)
    return Report(
        title="Check weights",
        subtitle="Packs held against the net weight that they declare",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(
            Fact("Records", len(weighings), Kind.COUNT),
            Fact("Of them short", failed, Kind.COUNT),
            Fact("Rule", fillings[0].tolerance.source if fillings else ""),
        ),
        tables=(
            Table(
                "How full to fill",
                FILL,
                tuple(_fill_row(one, unit) for one in fillings),
                note=FILL_NOTE,
            ),
            Table(
                "Packs on the scale",
                WEIGHED,
                tuple(_row(one, unit) for one in weighings),
                note=RULE,
            ),
        ),
    )


def _fill_row(one: Filling, unit: str) -> Row:
    net = one.product.net_mg
    return (
        str(one.product),
        show_mass(net, unit),
        one.loss.days,
        one.loss.rate_ppm,
        one.loss.source,
        show_mass(one.spread_mg, unit),
        one.checked,
        show_mass(one.fill_mg, unit),
        (one.fill_mg - net) * 1_000_000 // net,
        show_mass(one.tolerance.mass_mg, unit),
    )


def _row(one: Weighing, unit: str) -> Row:
    judged = one.judged
    return (
        one.entry.happened_on,
        one.lot.code,
        str(one.lot.card.product),
        judged.verdict,
        len(judged.nets_mg),
        show_mass(judged.mean_mg, unit),
        show_mass(min(judged.nets_mg), unit),
        judged.days,
        show_mass(judged.mean_then_mg, unit),
        show_mass(min(judged.then_mg), unit),
        judged.short,
        one.scale,
    )
