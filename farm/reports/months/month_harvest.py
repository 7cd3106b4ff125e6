"""The harvest of a month as rows: by species, day, block lot and flush, with what a block gave."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from farm.models import Grade
from farm.queries.months.months import MonthFigures
from farm.queries.months.yields import BlockYield, Pick, efficiency_ppm
from farm.reports.rows import Column, Kind, Row, Table, total_row

HARVEST_BY_SPECIES = "Harvest by species"
GRADES = (
    Column("Firsts", Kind.MASS),
    Column("Seconds", Kind.MASS),
    Column("Trim", Kind.MASS),
    Column("Picked", Kind.MASS),
)
PER_BLOCK = (
    Column("Blocks started", Kind.COUNT),
    Column("Blocks fruited", Kind.COUNT),
    Column("Per block started", Kind.MASS),
    Column("Per block fruited", Kind.MASS),
    Column("Biological efficiency, per block started", Kind.RATIO),
    Column("Biological efficiency, per block fruited", Kind.RATIO),
)
BY_SPECIES = (Column("Species"), *GRADES, Column("Cost carried in", Kind.MONEY))
BY_BLOCKS = (
    Column("Block lot"),
    Column("Species"),
    Column("Strain"),
    *GRADES,
    Column("Picked so far, all flushes", Kind.MASS),
    *PER_BLOCK,
    Column("Recipe"),
    Column("State"),
)
BY_DAY = (Column("Date", Kind.DATE), Column("Species"), *GRADES)
BY_FLUSH = (Column("Species"), Column("Flush"), *GRADES, *PER_BLOCK)
EFFICIENCY = (
    "Biological efficiency: fresh weight of all grades / bone-dry matter of the recipe, spawn "
    "left out. Over all blocks started it counts the blocks lost as well; over blocks fruited it "
    "leaves them out."
)


def harvest_tables(figures: MonthFigures) -> tuple[Table, ...]:
    blocks = {lot.pk: lot for lot in figures.blocks}
    return (
        _by_species(figures.picks),
        _by_day(figures.picks),
        _by_blocks(figures.picks, blocks),
        _by_flush(figures.picks, blocks),
    )


def _grades(picks: Iterable[Pick]) -> list[int]:
    """Firsts, seconds, trim, and all together."""
    masses = dict.fromkeys(Grade.values, 0)
    for pick in picks:
        masses[pick.grade] += pick.mass_mg
    return [*masses.values(), sum(masses.values())]


def _by_species(picks: Sequence[Pick]) -> Table:
    groups: dict[str, list[Pick]] = defaultdict(list)
    for pick in picks:
        groups[pick.species].append(pick)
    rows: list[Row] = [
        (name, *_grades(group), sum(pick.cost for pick in group))
        for name, group in sorted(groups.items())
    ]
    summed = {column.name for column in BY_SPECIES[1:]}
    return Table(HARVEST_BY_SPECIES, BY_SPECIES, tuple(rows), total_row(BY_SPECIES, rows, summed))


def _by_day(picks: Sequence[Pick]) -> Table:
    groups: dict[tuple[date, str], list[Pick]] = defaultdict(list)
    for pick in picks:
        groups[pick.day, pick.species].append(pick)
    rows: list[Row] = [
        (day, species, *_grades(group)) for (day, species), group in sorted(groups.items())
    ]
    total = total_row(BY_DAY, rows, {column.name for column in GRADES})
    return Table("Harvest by day", BY_DAY, tuple(rows), total)


def _by_blocks(picks: Sequence[Pick], blocks: dict[int, BlockYield]) -> Table:
    rows: list[Row] = []
    groups: dict[int, list[Pick]] = defaultdict(list)
    for pick in picks:
        groups[pick.block_pk].append(pick)
    for lot in blocks.values():
        month = groups[lot.pk]
        state = "provisional: more to come" if lot.provisional else ""
        rows.append(
            (
                lot.code,
                lot.species,
                lot.strain,
                *_grades(month),
                lot.picked_mg,
                *_per_block([lot], lot.picked_mg),
                lot.recipe,
                state,
            )
        )
    note = f"Ratios are of all flushes to the month's end. {EFFICIENCY}"
    total = total_row(BY_BLOCKS, rows, {column.name for column in GRADES})
    return Table("Harvest by block lot", BY_BLOCKS, tuple(rows), total, note)


def _by_flush(picks: Sequence[Pick], blocks: dict[int, BlockYield]) -> Table:
    groups: dict[tuple[str, int], list[Pick]] = defaultdict(list)
    for pick in picks:
        groups[pick.species, pick.flush].append(pick)
    rows: list[Row] = []
    for (species, flush), group in sorted(groups.items()):
        grades = _grades(group)
        lots = [blocks[pk] for pk in {pick.block_pk for pick in group}]
        rows.append((species, f"flush {flush}", *grades, *_per_block(lots, grades[-1])))
    note = f"Ratios are of what this flush gave in the month. {EFFICIENCY}"
    total = total_row(BY_FLUSH, rows, {column.name for column in GRADES})
    return Table("Harvest by flush", BY_FLUSH, tuple(rows), total, note)


def _per_block(lots: Sequence[BlockYield], mass_mg: int) -> Row:
    """Blocks, weight per block (rounded half up to the mg), and efficiency where all is known."""
    started, fruited = sum(lot.started for lot in lots), sum(lot.fruited for lot in lots)
    known = all(lot.dry_mg for lot in lots)
    all_mg = sum(lot.dry_mg * lot.started for lot in lots) if known else 0
    fruited_mg = sum(lot.dry_mg * lot.fruited for lot in lots) if known else 0
    return (
        started,
        fruited,
        _divided(mass_mg, started),
        _divided(mass_mg, fruited),
        efficiency_ppm(mass_mg, all_mg),
        efficiency_ppm(mass_mg, fruited_mg),
    )


def _divided(mass_mg: int, blocks: int) -> int | None:
    return (2 * mass_mg + blocks) // (2 * blocks) if blocks > 0 else None
