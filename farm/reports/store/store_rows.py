"""What is in store as rows: a table a place, what goes first leading, and the water loss."""

from collections.abc import Mapping, Sequence

from farm.models import Species
from farm.queries.store.in_store import Place, Stored, use_first
from farm.queries.store.water_loss import ENOUGH, Kept, Losses, WaterLoss
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table

KEEPS = (  # dried, in jars and airtight packs
    Column("Lot"),
    Column("What it is"),
    Column("Goes", Kind.COUNT),
    Column("Age, days", Kind.COUNT),
    Column("Weighed", Kind.MASS),
    Column("On", Kind.DATE),
    Column("Mind"),
)
DRIES = (
    Column("Lot"),
    Column("What it is"),
    Column("Goes", Kind.COUNT),
    Column("Days left", Kind.COUNT),
    Column("Should weigh now", Kind.MASS),
    Column("From", Kind.MASS),
    Column("To", Kind.MASS),
    Column("Weighed", Kind.MASS),
    Column("On", Kind.DATE),
    Column("Age, days", Kind.COUNT),
    Column("Keeps until", Kind.DATE),
    Column("Mind"),
)
LOSSES = (
    Column("Species"),
    Column("Kept"),
    Column("Loses a day", Kind.RATIO),
    Column("From", Kind.RATIO),
    Column("To", Kind.RATIO),
    Column("Weighings", Kind.COUNT),
    Column("Where from"),
    Column("May lose a day, by the book", Kind.RATIO),
)
LOSS_NOTE = (
    "The share of its weight that a lot loses a day; its own figure is the median of its weighings "
    f"(from {ENOUGH} on), and eight in ten of them lie between the two beside it. A weighing "
    "writes off as water what the last column allows, and asks about the rest: where your own band "
    "reaches beyond it, change the species' figure under Farm details."
)
NOTE = (
    "“Goes” counts within a species or product: 1 goes first. What should be there now is what was "
    "weighed less the loss of its species; packs start from what was filled in."
)


def store_report(places: Sequence[Place], losses: Losses, made: Made) -> Report:
    every = [stored for place in places for stored in place.lots]
    ranks = use_first(every)
    over = sum(1 for one in every if one.days_left is not None and one.days_left < 0)
    report = Report(
        title="In store",
        subtitle="What is in which fridge, crate and jar, what goes first leading",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(
            Fact("Lots", len(every), Kind.COUNT),
            Fact("Weighed", sum(one.weighed_mg for one in every), Kind.MASS),
            Fact("Past their days", over, Kind.COUNT),
        ),
        tables=(
            *(_place(place, ranks) for place in places),
            _losses(losses),
        ),
    )
    return beside_pounds(report, made)


def _place(place: Place, ranks: Mapping[int, int]) -> Table:
    if all(one.expected_mg is None and one.days_left is None for one in place.lots):
        rows = tuple(_keeps(one, ranks[one.lot.pk]) for one in place.lots)
        return Table(place.name, KEEPS, rows)
    rows = tuple(_dries(one, ranks[one.lot.pk]) for one in place.lots)
    return Table(place.name, DRIES, rows, note=NOTE)


def _keeps(one: Stored, rank: int) -> Row:
    said = "; ".join(mind(one))
    weighed: tuple[Cell, ...] = (one.weighed_mg, one.weighed_on)
    return (one.lot.code, one.lot.item.name, rank, one.age_days, *weighed, said)


def _dries(one: Stored, rank: int) -> Row:
    weights: tuple[Cell, ...] = (one.expected_mg, one.least_mg, one.most_mg, one.weighed_mg)
    return (
        one.lot.code,
        one.lot.item.name,
        rank,
        one.days_left,
        *weights,
        one.weighed_on,
        one.age_days,
        one.keeps_until,
        "; ".join(mind(one)),
    )


def mind(one: Stored) -> list[str]:
    """What to know of a lot before it is used."""
    said = []
    if one.lot.held:
        said.append("on hold")
    if one.days_left is not None and one.days_left < 0:
        said.append("past its days")
    if one.warm_milli_c is not None:
        said.append(f"may have stood at {one.warm_milli_c / 1000:.1f} °C: keeps less long")
    if one.is_short:
        said.append("should weigh less than it declares")
    return said


def _losses(losses: Losses) -> Table:
    rows = tuple(
        _loss(one, kept, losses[kept][one]) for one in losses[Kept.LOOSE] for kept in losses
    )
    return Table("Water lost in the fridge", LOSSES, rows, note=LOSS_NOTE)


def _loss(one: Species, kept: Kept, loss: WaterLoss) -> Row:
    return (
        str(one),
        kept.value,
        loss.rate_ppm,
        loss.low_ppm,
        loss.high_ppm,
        loss.weighings,
        loss.source,
        one.water_loss_ppm,
    )
