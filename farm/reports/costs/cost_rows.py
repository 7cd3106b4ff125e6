"""The cost of a lot and of a kilo, as rows: built once for page, PDF, spreadsheet and terminal."""

from fractions import Fraction

from farm import habits
from farm.queries.costs.costs import ACTUAL, IN_PART, MG_PER_KG, CostOfLot
from farm.queries.costs.kilos import Kilo
from farm.reports.bars import Step, waterfall
from farm.reports.drawing import Drawing
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import Made, amount_fact, cells
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table, total_row
from farm.units import show_both, show_money

KINDS = (
    Column("Materials", Kind.MONEY),
    Column("Paid hours", Kind.MONEY),
    Column("Own hours", Kind.MONEY),
    Column("Energy", Kind.MONEY),
    Column("Room", Kind.MONEY),
    Column("Total", Kind.MONEY),
)
SUMMED = {column.name for column in KINDS}
LINES = (
    Column("What"),
    Column("Lot"),
    Column("Day", Kind.DATE),
    Column("Entered as"),
    Column("Plan or actual"),
    Column("Pieces", Kind.COUNT),
    Column("Weight", Kind.MASS),
    *KINDS,
)
WENT = (Column("Where it is now"), *KINDS)
KILOS = (
    Column("A kilo"),
    Column("With own hours", Kind.UNIT_COST),
    Column("Without own hours", Kind.UNIT_COST),
    Column("Cost", Kind.MONEY),
    Column("Weight", Kind.MASS),
    Column("What is divided"),
    Column("Plan or actual"),
)
AT_PLACE = "sold at "
GOOD_BLOCKS = "Good (made, less lost before the first pick)"
# What makes each kilo dearer than the one before it.
ADDS = {
    "saleable": "trim",
    "packed": "packing, lost before",
    "sold (": "lost and unsold",
    AT_PLACE: "selling",
}
LOSSES_DIVIDE = (
    "Losses divide, they are never subtracted. What is still in stock is in no kilo beyond the "
    "step that it has reached. “Without own hours” leaves the grower's own time out."
)


def cost_report(cost: CostOfLot, made: Made) -> Report:
    report = Report(
        title=f"Cost of {cost.code}",
        subtitle=f"{cost.name} · {cost.stage} · made {habits.day(cost.made_on)}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(cost),
        tables=(_kinds(cost), *_kilo_tables(cost, made), _lines(cost), _went(cost)),
        drawings=(_drawing(cost, made.currency),),
        currency=made.currency,
    )
    return beside_pounds(report, made)


def _facts(cost: CostOfLot) -> tuple[Fact, ...]:
    facts = [
        Fact("Cost so far", sum(cost.cost), Kind.MONEY),
        amount_fact("Made", cost.made),
        _per(cost, f"Per {cost.unit} made", cost.per_unit(cost.made)),
    ]
    if cost.good != cost.made:
        facts += [
            amount_fact(
                GOOD_BLOCKS if cost.unit == "block" else "Good (made, less lost)", cost.good
            ),
            _per(cost, f"Per good {cost.unit}", cost.per_unit(cost.good)),
        ]
    facts.append(amount_fact("On hand", cost.on_hand))
    if cost.kilos.provisional:
        waits = ", ".join(cost.kilos.provisional)
        facts.append(Fact("Provisional", f"a flush is still to come from {waits}"))
    return tuple(facts)


def _per(cost: CostOfLot, label: str, money: int | None) -> Fact:
    kind = Kind.UNIT_COST if cost.unit == "kg" else Kind.MONEY
    return Fact(label, money, kind) if money is not None else Fact(label, "nothing is left")


def _kinds(cost: CostOfLot) -> Table:
    """The five kinds, altogether and by unit."""
    units = [("Cost so far", cost.cost), (f"Per {cost.unit} made", cost.kinds_per(cost.made))]
    if cost.good != cost.made:
        units.append((f"Per good {cost.unit}", cost.kinds_per(cost.good)))
    rows: list[Row] = [(words, *parts, sum(parts)) for words, parts in units if parts]
    return Table("By kind", (Column(""), *KINDS), tuple(rows), whole="Total")


def _lines(cost: CostOfLot) -> Table:
    rows: list[Row] = [
        (
            line.what,
            line.lot_code,
            line.day,
            line.entry_kind,
            line.known,
            *cells(line.amount),
            *line.cost,
            sum(line.cost),
        )
        for line in cost.lines
    ]
    note = (
        "Each line in the five kinds that it consists of itself; the lines add up to the cost. "
        "“Plan in part”: blocks behind it still have a flush to come, so their cost is shared by "
        "what is expected of it. “Usual time”: nobody typed minutes: the standard time was taken. "
        "Rates are planned until the month's bills are compared."
    )
    total = total_row(LINES, rows, SUMMED)
    return Table("Line by line", LINES, tuple(rows), total, note, whole="Total")


def _went(cost: CostOfLot) -> Table:
    rows: list[Row] = [(words, *parts, sum(parts)) for words, parts in cost.went]
    total = total_row(WENT, rows, SUMMED)
    return Table("Where the cost is now", WENT, tuple(rows), total, whole="Total")


def _kilo_tables(cost: CostOfLot, made: Made) -> tuple[Table, ...]:
    kilos = cost.kilos
    if not kilos.blocks:
        return (Table("A kilo", KILOS, (), note="No blocks were made with this lot yet."),)
    known = IN_PART if kilos.provisional else ACTUAL
    note = f"From the blocks {', '.join(kilos.blocks)}. {LOSSES_DIVIDE}"
    if kilos.trim:
        trim = show_both(kilos.trim.mass_mg, made.weight_unit)
        sold = f"and {trim} of trim sold for {show_money(kilos.trim.net, made.currency)}"
        note = f"{note} Trim is in picked only; {sold}."
    if kilos.provisional:
        note = f"Provisional: a flush is still to come. {note}"
    tables = [
        Table("A kilo", KILOS, tuple(_kilo_row(kilo, known) for kilo in kilos.fresh), note=note)
    ]
    if kilos.dried:
        note = "Per kg of dried mushrooms; they are in none of the fresh kilos."
        rows = tuple(_kilo_row(kilo, known) for kilo in kilos.dried)
        tables.append(Table("A kilo, dried", KILOS, rows, note=note))
    return tuple(tables)


def _kilo_row(kilo: Kilo, state: str) -> Row:
    basis = kilo.blank or kilo.basis
    divided: tuple[Cell, Cell] = (None, None) if kilo.blank else (sum(kilo.cost), kilo.mass_mg)
    state = "not yet" if kilo.blank else state
    return (kilo.name, kilo.per_kg, kilo.per_kg_without_own, *divided, basis, state)


def _drawing(cost: CostOfLot, currency: str) -> Drawing:
    """Show a kilo growing dearer step by step; before anything was picked, the lot by kind."""
    known = [kilo for kilo in cost.kilos.fresh if kilo.per_kg is not None]
    if known:
        return waterfall(_cascade(known), title="A kilo, step by step", unit=f"{currency} per kg")
    steps = [
        Step(column.name, amount)
        for column, amount in zip(KINDS, cost.cost, strict=False)
        if amount
    ]
    return waterfall([*steps, Step("Cost so far")], title="The cost so far", unit=currency)


def _cascade(kilos: list[Kilo]) -> list[Step]:
    """Start from a picked kilo by kind; each further kilo adds what made it dearer.

    Selling costs differ by place, so they are drawn only where all was sold at one.
    """
    places = [kilo for kilo in kilos if kilo.name.startswith(AT_PLACE)]
    shown = [kilo for kilo in kilos if kilo not in places or len(places) == 1]
    picked = shown[0]
    parts = [round(Fraction(part * MG_PER_KG, picked.mass_mg)) for part in picked.cost]
    steps = [Step(column.name, part) for column, part in zip(KINDS, parts, strict=False) if part]
    steps.append(Step(picked.name))
    running = sum(parts)
    for kilo in shown[1:]:
        now = kilo.per_kg or 0
        added = next(words for start, words in ADDS.items() if kilo.name.startswith(start))
        steps += [Step(added, now - running), Step(kilo.name)]
        running = now
    return steps
