"""The month as rows: its tables and column names stand here and stay; later work adds tables.

Rows carry customer numbers, not names. Every total is the sum of its rows, and the cost of what
was sold, lost and in stock is the book's own.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence

from farm.models import Grade
from farm.queries.months import MonthFigures, SoldRow, StockRow
from farm.queries.yields import BlockYield, Pick, efficiency_ppm
from farm.reports.drawing import Drawing
from farm.reports.made import Made
from farm.reports.pictures import Bar, bars
from farm.reports.pounds import beside_pounds
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.units import show_mass

NO_CUSTOMER = "no name (stall or door)"
COUNTS = (Column("Pieces", Kind.COUNT), Column("Weight", Kind.MASS))
MONEY = (
    Column("Net", Kind.MONEY),
    Column("Tax", Kind.MONEY),
    Column("Gross", Kind.MONEY),
    Column("Cost of sales", Kind.MONEY),
)
SALES = (
    Column("Date", Kind.DATE),
    Column("Entry"),
    Column("Customer number"),
    Column("Place"),
    Column("Product"),
    Column("Lot"),
    *COUNTS,
    *MONEY,
)
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
BY_FLUSH = (Column("Species"), Column("Flush"), *GRADES, *PER_BLOCK)
LOSSES = (
    Column("Stage"),
    Column("Reason"),
    *COUNTS,
    Column("Cost", Kind.MONEY),
)
STOCK = (
    Column("Stage"),
    Column("Lots at the start", Kind.COUNT),
    Column("Pieces at the start", Kind.COUNT),
    Column("Weight at the start", Kind.MASS),
    Column("Cost at the start", Kind.MONEY),
    Column("Lots at the end", Kind.COUNT),
    Column("Pieces at the end", Kind.COUNT),
    Column("Weight at the end", Kind.MASS),
    Column("Cost at the end", Kind.MONEY),
)
KINDS = (
    Column("Materials", Kind.MONEY),
    Column("Paid hours", Kind.MONEY),
    Column("Own hours", Kind.MONEY),
    Column("Energy", Kind.MONEY),
    Column("Room", Kind.MONEY),
    Column("Total", Kind.MONEY),
)
AGREES = (Column("The book's cost"), *KINDS)
EFFICIENCY = (
    "Biological efficiency: fresh weight of all grades / bone-dry matter of the recipe, spawn "
    "left out, over all blocks started."
)


def month_report(figures: MonthFigures, made: Made) -> Report:
    month = figures.month
    report = Report(
        title=month.name,
        subtitle=f"{month.first} to {month.last}, by the day it happened",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(figures),
        tables=(
            *_sales_tables(figures),
            *_harvest_tables(figures),
            _losses(figures),
            _stock(figures.stock_start, figures.stock_end),
            _agrees(figures),
        ),
        drawings=_drawings(figures),
        currency=made.currency,
    )
    return beside_pounds(report, made)


def _facts(figures: MonthFigures) -> tuple[Fact, ...]:
    sales, losses = figures.sales, figures.losses
    selling = sum(figures.selling.values())
    net, cost = sum(row.net for row in sales), sum(row.cost for row in sales)
    return (
        Fact("Picked", sum(pick.mass_mg for pick in figures.picks), Kind.MASS),
        Fact("Sold", sum(row.amount.mass_mg or 0 for row in sales), Kind.MASS),
        Fact("Sales, net of tax", net, Kind.MONEY),
        Fact("Cost of sales", cost, Kind.MONEY),
        Fact("Selling costs", selling, Kind.MONEY),
        Fact("Lost", sum(row.cost for row in losses), Kind.MONEY),
        Fact("Left over (net sales less those three)",
             net - cost - selling - sum(row.cost for row in losses), Kind.MONEY),
        Fact("Agrees with the book", _agreement(figures.movement.difference)),
    )  # fmt: skip


def _agreement(difference: int) -> str:
    return "yes, difference 0" if not difference else f"NO: {difference} ten-thousandths apart"


# --- sales -----------------------------------------------------------------------------------


def _sales_tables(figures: MonthFigures) -> tuple[Table, ...]:
    sales = figures.sales
    rows: list[Row] = [
        (row.day, str(row.entry), row.customer_number, row.place, row.product, row.lot_code,
         *_sold_cells(row))
        for row in sales
    ]  # fmt: skip
    summed = {column.name for column in (*COUNTS, *MONEY)}
    return (
        _by_place(figures),
        _grouped("Sales by customer", "Customer number", sales, key=_customer),
        _grouped("Sales by product", "Product", sales, key=lambda row: row.product),
        _grouped("Sales by species", "Species", sales, key=lambda row: row.species),
        _grouped("Sales by lot", "Lot", sales, key=lambda row: row.lot_code),
        Table("Sales by line", SALES, tuple(rows), total_row(SALES, rows, summed)),
    )


def _customer(row: SoldRow) -> str:
    return row.customer_number or NO_CUSTOMER


def _sold_cells(row: SoldRow) -> Row:
    return (
        row.amount.pieces, row.amount.mass_mg, row.net, row.tax, row.gross, row.cost,
    )  # fmt: skip


def _grouped(
    title: str, label: str, sales: Sequence[SoldRow], *, key: Callable[[SoldRow], str]
) -> Table:
    columns = (Column(label), *COUNTS, *MONEY)
    rows: list[Row] = [
        (name, sums[0] or None, *sums[1:]) for name, sums in _sums(sales, key).items()
    ]
    summed = {column.name for column in (*COUNTS, *MONEY)}
    return Table(title, columns, tuple(rows), total_row(columns, rows, summed))


def _by_place(figures: MonthFigures) -> Table:
    """Sales by place, with what selling there cost: fees and hours."""
    columns = (
        Column("Place"), *COUNTS, *MONEY,
        Column("Selling costs", Kind.MONEY), Column("Left over", Kind.MONEY),
    )  # fmt: skip
    sums = _sums(figures.sales, key=lambda row: row.place)
    rows: list[Row] = []
    for place in sorted(sums.keys() | figures.selling.keys()):
        pieces, mass_mg, net, tax, gross, cost = sums.get(place, [0] * 6)
        selling = figures.selling.get(place, 0)
        rows.append(
            (place, pieces or None, mass_mg, net, tax, gross, cost, selling, net - cost - selling)
        )
    summed = {column.name for column in columns[1:]}
    note = "Left over = net - cost of sales - selling costs; losses are not taken off."
    return Table("Sales by place", columns, tuple(rows), total_row(columns, rows, summed), note)


def _sums(sales: Iterable[SoldRow], key: Callable[[SoldRow], str]) -> dict[str, list[int]]:
    sums: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
    for row in sales:
        cells = [cell if isinstance(cell, int) else 0 for cell in _sold_cells(row)]
        sums[key(row)] = [a + b for a, b in zip(sums[key(row)], cells, strict=True)]
    return dict(sorted(sums.items()))


# --- harvest ---------------------------------------------------------------------------------


def _harvest_tables(figures: MonthFigures) -> tuple[Table, ...]:
    blocks = {lot.pk: lot for lot in figures.blocks}
    return (
        _by_species(figures.picks),
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
    return Table("Harvest by species", BY_SPECIES, tuple(rows), total_row(BY_SPECIES, rows, summed))


def _by_blocks(picks: Sequence[Pick], blocks: dict[int, BlockYield]) -> Table:
    rows: list[Row] = []
    for lot in blocks.values():
        month = [pick for pick in picks if pick.block_pk == lot.pk]
        state = "provisional: more to come" if lot.provisional else ""
        rows.append(
            (lot.code, lot.species, lot.strain, *_grades(month), lot.picked_mg,
             *_per_block([lot], lot.picked_mg), lot.recipe, state)
        )  # fmt: skip
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
    dry_mg = sum(lot.dry_mg * lot.started for lot in lots) if known else 0
    return (
        started, fruited, _divided(mass_mg, started), _divided(mass_mg, fruited),
        efficiency_ppm(mass_mg, dry_mg),
    )  # fmt: skip


def _divided(mass_mg: int, blocks: int) -> int | None:
    return (2 * mass_mg + blocks) // (2 * blocks) if blocks > 0 else None


# --- losses, stock, and the book -------------------------------------------------------------


def _losses(figures: MonthFigures) -> Table:
    rows: list[Row] = [
        (row.stage.label, row.reason, row.pieces or None, row.mass_mg, row.cost)
        for row in figures.losses
    ]
    note = "Planned losses and water leave without cost; spent blocks are no loss."
    total = total_row(LOSSES, rows, {"Weight", "Pieces", "Cost"})
    return Table("Losses by stage and reason", LOSSES, tuple(rows), total, note)


def _stock(start: Sequence[StockRow], end: Sequence[StockRow]) -> Table:
    before, after = {row.stage: row for row in start}, {row.stage: row for row in end}
    rows: list[Row] = [
        (stage.label, *_stock_cells(before.get(stage)), *_stock_cells(after.get(stage)))
        for stage in sorted(before.keys() | after.keys())
    ]
    summed = {"Cost at the start", "Cost at the end", "Lots at the start", "Lots at the end"}
    return Table("Stock", STOCK, tuple(rows), total_row(STOCK, rows, summed))


def _stock_cells(row: StockRow | None) -> Row:
    return (row.lots, row.pieces, row.mass_mg, row.cost) if row else (0, 0, 0, 0)


def _agrees(figures: MonthFigures) -> Table:
    """Add up the book's cost: the total row is the sum of the others, and must be the stock."""
    moved = figures.movement
    rows: list[Row] = [
        ("In stock at the start", *moved.start, sum(moved.start)),
        ("+ bought", *moved.bought, sum(moved.bought)),
        ("+ labour, energy, room", *moved.charged, sum(moved.charged)),
        ("- sold", *[-part for part in moved.sold], -sum(moved.sold)),
        ("- lost", *[-part for part in moved.lost], -sum(moved.lost)),
    ]
    total = total_row(AGREES, rows, {column.name for column in KINDS})
    note = (
        "The last row is the sum of those above it, and what the lots hold at the end. Cents are "
        "shown so that each row and column adds up, so a row may be a cent off what the same "
        "figure is elsewhere; the spreadsheet holds all four decimals."
    )
    return Table(
        "How it agrees with the book",
        AGREES,
        tuple(rows),
        ("= in stock at the end", *total[1:]),
        note,
        whole="Total",
    )


def _drawings(figures: MonthFigures) -> tuple[Drawing, ...]:
    drawings = []
    picked: dict[str, int] = defaultdict(int)
    for pick in figures.picks:
        picked[pick.species] += pick.mass_mg
    if picked:
        drawings.append(_bars(picked, "Picked, by species"))
    sold = {name: sums[1] for name, sums in _sums(figures.sales, key=lambda row: row.place).items()}
    if sold:
        drawings.append(_bars(sold, "Sold, by place"))
    return tuple(drawings)


def _bars(masses: dict[str, int], title: str) -> Drawing:
    largest_first = sorted(masses.items(), key=lambda bar: -bar[1])
    return bars(
        [Bar(name, mass_mg, show_mass(mass_mg, "kg")) for name, mass_mg in largest_first],
        title=title,
    )
