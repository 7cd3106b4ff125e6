"""Where the crop went, as rows and as a drawing that steps down to zero."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.models import Form
from farm.queries.months.reconciliation import CAME_IN, SCALE_STEP_MG, Move, Reconciliation, Step
from farm.reports.bars import falling
from farm.reports.drawing import Drawing
from farm.reports.pounds import beside_pounds
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, printed, total_row
from farm.units import show_mass
from farm.weight import hundredths_of
from ledger.amounts import MILLION, largest_remainder

IN, OUT, LEFT = "Came in", "Went out", "Left"
STEPS = (
    Column("Step"),
    Column(IN, Kind.MASS),
    Column(OUT, Kind.MASS),
    Column(LEFT, Kind.MASS),
)
ENTRIES = (
    Column("Date", Kind.DATE),
    Column("Entry"),
    Column("Lot"),
    Column("What"),
    Column("Pieces", Kind.COUNT),
    Column("Weight", Kind.MASS),
)
TITLES = {Form.FRESH: "Where the fresh crop went", Form.DRIED: "Where the dried crop went"}
NOTE = (
    "Each step takes from what is left, down to nothing. Packs count at their declared weight; "
    "what was filled beyond it is a step of its own, and so is what dried away inside the band."
)


@dataclass(frozen=True)
class Told:
    """One step as it is told: what it brought in or took out, and what is left after it."""

    step: Step
    label: str
    came_in: int
    went_out: int
    left: int


def told(found: Reconciliation, weight_unit: str = "kg") -> list[Told]:
    """Put what came in first, so that every step takes from what is there; ends at nothing.

    What is below zero on its own side stands on the other: more came back than was sold. Where
    pounds stand beside, what rounding leaves of them is told even if it is no gram.
    """
    amounts = found.amounts
    if weight_unit == "lb" and hundredths_of(found.rounding_mg):
        amounts[Step.ROUNDING] = found.rounding_mg
    signed = [(step, mg if step in CAME_IN else -mg) for step, mg in amounts.items()]
    left, rows = 0, []
    for step, mg in sorted(signed, key=lambda row: not _came_in(row[1])):
        left += mg
        back = _came_in(mg) is not (step in CAME_IN)
        told_back = back and step is not Step.ROUNDING
        label = f"{step.value}, less than came back" if told_back else step.value
        came_in, went_out = (mg, 0) if _came_in(mg) else (0, -mg)
        rows.append(Told(step, label, came_in, went_out, left))
    return rows


def _unless_nothing(mg: int) -> int | None:
    """No gram may still be a hundredth of a pound, without which the two sides would differ."""
    return mg if mg or hundredths_of(mg) else None


def _came_in(mg: int) -> bool:
    return (mg or hundredths_of(mg) or 0) > 0


def reconciliation_report(
    found: Reconciliation, made: Made, *, title: str, subtitle: str
) -> Report:
    """Lay a reconciliation out: the steps, their drawing, and the entries behind each step."""
    table = steps_table(found, made.weight_unit)
    report = Report(
        title=title,
        subtitle=subtitle,
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(found),
        tables=(table, *_entries(found)),
        drawings=steps_drawings(found),
        currency=made.currency,
    )
    return beside_pounds(report, made)


def steps_table(found: Reconciliation, weight_unit: str = "kg") -> Table:
    """The steps with their share of all that came in; both sides come to the same whole."""
    steps = told(found, weight_unit)
    whole = found.whole_mg
    # In tenths of a percent, handed out: the shares add up to 100 %.
    tenths = largest_remainder(1000, [step.went_out for step in steps]) if whole else []
    shares = [tenth * (MILLION // 1000) for tenth in tenths] or [0] * len(steps)
    share = Column(f"Of {show_mass(whole, 'kg')} that came in", Kind.RATIO)
    rows: list[Row] = [
        (
            step.label,
            _unless_nothing(step.came_in),
            _unless_nothing(step.went_out),
            step.left,
            part if step.went_out else None,
        )
        for step, part in zip(steps, shares, strict=True)
    ]
    columns = (*STEPS, share)
    total = total_row(columns, rows, {IN, OUT})
    return Table(TITLES[found.form], columns, tuple(rows), total if rows else None, NOTE)


def steps_drawings(found: Reconciliation) -> tuple[Drawing, ...]:
    """Draw the steps with the very words that the table prints; nothing for nothing."""
    steps, table = told(found), steps_table(found)
    if not steps:
        return ()
    words = (row[1] or f"- {row[2]}" for row in printed(table).rows)
    spans = [
        (step.label, step.left - step.came_in + step.went_out, step.left, word)
        for step, word in zip(steps, words, strict=True)
    ]
    return (falling(spans, title=f"{table.title}, kg"),)


def verdict(found: Reconciliation) -> str:
    """Say whether more is missing than water and the scale explain; nobody is blamed."""
    missing, allowed = found.unexplained_mg, found.scale_error_mg
    scale = (
        f"{found.weighings} weighings, each up to {show_mass(SCALE_STEP_MG, 'g')} off, may be "
        f"{show_mass(allowed, 'kg')} off"
    )
    if missing <= 0:
        return "nothing is unexplained"
    if found.is_flagged:
        return (
            f"{show_mass(missing, 'kg')} is missing beyond the water that a fridge takes, and "
            f"beyond the scale: {scale}. Look for a sale, a sample or a bin that was not written "
            "down, or a weight typed wrong."
        )
    return f"{show_mass(missing, 'kg')}, which the scale alone may explain: {scale}"


def _facts(found: Reconciliation) -> tuple[Fact, ...]:
    return (
        Fact("Came in, with what was there at the start", found.whole_mg, Kind.MASS),
        Fact("Still in stock", found.end_mg, Kind.MASS),
        Fact("Unexplained", found.unexplained_mg, Kind.MASS),
        Fact("In words", verdict(found)),
        Fact("Adds to zero", "yes" if not found.difference_mg else f"NO: {found.difference_mg} mg"),
    )


def _entries(found: Reconciliation) -> tuple[Table, ...]:
    """The entries behind each step, titled as the step is."""
    tables = []
    for step in told(found):
        moves = [move for move in found.moves if move.step is step.step]
        if moves:
            tables.append(_entries_of(step.label, moves, 1 if step.step in CAME_IN else -1))
    return tuple(tables)


def _entries_of(title: str, moves: Sequence[Move], sign: int) -> Table:
    rows: list[Row] = [
        (
            move.day,
            str(move.entry),
            move.lot_code,
            move.what,
            sign * move.pieces or None,
            sign * move.mass_mg,
        )
        for move in moves
    ]
    return Table(title, ENTRIES, tuple(rows), total_row(ENTRIES, rows, {"Weight"}))
