"""What to do with what came back, lot by lot, in plain money: words and rows."""

from collections.abc import Sequence

from farm.planning.inputs import InputKind
from farm.queries.costs.left_over import BIN, DISCOUNT, DRY, Advice, Told
from farm.reports.rows import Column, Fact, Kind, Row, Table, show_fact

WAYS = {
    DRY: "dried it leaves about {}",
    DISCOUNT: "at a discount it brings about {}",
    BIN: "binned, nothing",
}
KINDS = {InputKind.MASS: Kind.MASS, InputKind.MONEY: Kind.MONEY, InputKind.SHARE: Kind.RATIO}
COLUMNS = (
    Column("Lot"),
    Column("Left over", Kind.MASS),
    Column("Days left", Kind.COUNT),
    Column("Discounted, brings", Kind.MONEY),
    Column("Dried, leaves", Kind.MONEY),
    Column("Leaves most"),
    Column("Mind"),
)


def advice_words(advice: Advice, currency: str) -> str:
    """Say it in a sentence: “Dry it: dried it leaves about €12.24, binned, nothing.”"""
    if not advice.leaves:
        return f"{advice.way.capitalize()}. {advice.why}"
    said = ", ".join(
        WAYS[way].format(show_fact(Fact("", money, Kind.MONEY), currency))
        for way, money in advice.leaves
    )
    known = f" Not known: {', '.join(advice.missing).lower()}." if advice.missing else ""
    return f"{advice.way.capitalize()}: {said}. {advice.why}{known}".strip()


def told_words(told: Told, currency: str) -> tuple[str, str, str]:
    """Say one number behind the advice: what it is, its value with its unit, where it is from."""
    label = f"{told.asked.label}, {told.asked.per}" if told.asked.per else told.asked.label
    if told.asked.kind is InputKind.RATIO:
        return label, f"{told.known.value / 1_000_000:.2f} to 1", told.known.source
    kind = KINDS.get(told.asked.kind, Kind.COUNT)
    return label, show_fact(Fact("", told.known.value, kind), currency), told.known.source


def advice_table(advices: Sequence[Advice]) -> Table:
    rows: list[Row] = []
    for one in advices:
        leaves = dict(one.leaves)
        rows.append(
            (
                one.lot.code,
                one.mass_mg,
                one.days_left,
                leaves.get(DISCOUNT),
                leaves.get(DRY),
                one.way,
                one.why,
            )
        )
    return Table("Dry it, discount it or bin it", COLUMNS, tuple(rows))
