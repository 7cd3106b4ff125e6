"""What is measured of plans and reports: a card, a drawing, the workbook, the binder."""

import io
import random
from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial

import numpy as np
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfgen.canvas import Canvas
from xlsxwriter import Workbook

from farm.exchange.choosing import asked_between
from farm.exchange.key_data import key_data
from farm.models import the_farm
from farm.planning.card import Card, card_of
from farm.planning.chain import Draws
from farm.planning.grown import Records
from farm.planning.spread import drawn
from farm.planning.work import work_out
from farm.reports import rows
from farm.reports.drawing import svg
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import Span, binder_cover, binder_report, sections
from farm.reports.rows import Column, Kind, Report, Table, total_row
from farm.reports.tracing.pictures import stages_picture
from farm.reports.tracing.stages import Link, Node
from farm.reports.xlsx import workbook_bytes
from tests.bench.farm_measures import MADE
from tests.bench.farm_years import START
from tests.bench.timing import median, show
from tests.farm.card_cases import worked_plan

LOTS, STAGES = 500, 6
ROWS_A_PAGE, LEADING = 40, 12.0
MANY_ROWS = 12_000
Cells = Sequence[Sequence[str]]


def measure_reports() -> None:
    _card()
    _drawing()
    _workbook()
    _binder()


def _card() -> None:
    """Compare a whole card with one line of numpy over the same draws, and the range it gives."""
    plan = worked_plan()
    card, batches = card_of(plan), drawn(plan, Records())
    ours = median(partial(work_out, plan, Records()), runs=31)
    show(
        "cost card with its range",
        ours,
        median(partial(_plain_range, card, batches), runs=31),
        "at most 20x of numpy, drawn before",
    )


def _plain_range(card: Card, drawn: dict[str, Draws]) -> list[float]:
    chain = card.chain
    ready = float(chain.block) / ((1 - drawn["loss"]) * drawn["yield"])
    picked = ready + float(chain.picking) * drawn["minutes"]
    packed = picked / float(chain.untrimmed) + float(chain.packing) * drawn["minutes"]
    sold = packed / ((1 - drawn["fridge"]) * (1 - drawn["unsold"]))
    return [float(cost) for cost in np.quantile(sold + float(chain.serving), (0.1, 0.5, 0.9))]


def _drawing() -> None:
    """Draw a trace of 500 lots, every one a box of its own, beside writing as many shapes."""
    chance = random.Random(5)
    nodes = [
        Node(f"{at}", at * STAGES // LOTS, f"LOT-{at}", "oyster", f"{at}.000 kg", mass_mg=at)
        for at in range(LOTS)
    ]
    before = LOTS // STAGES
    links = [
        Link(f"{at - chance.randint(before, before + 9)}", f"{at}", "1.000 kg", mass_mg=1)
        for at in range(before + 9, LOTS)
    ]

    def drawn() -> str:
        names = {stage: f"stage {stage}" for stage in range(STAGES)}
        return svg(stages_picture(nodes, links, title="", stage_names=names, fold_after=LOTS))

    shapes = drawn().count("\n") - 3
    show(
        f"drawing of {LOTS} lots ({shapes} shapes)",
        median(drawn, runs=5),
        median(partial(_plain_shapes, shapes), runs=15),
        "no goal",
    )


def _plain_shapes(count: int) -> str:
    return "\n".join(
        f'<rect class="wash" x="{at:.1f}" y="{at * 2:.1f}" width="90" height="56" fill="none"/>'
        for at in range(count)
    )


def _workbook() -> None:
    many = _many_rows()
    show(
        f"workbook of {MANY_ROWS} rows",
        median(partial(workbook_bytes, many), runs=5),
        median(partial(_plain_workbook, many), runs=5),
        "at most 1.3x of the bare writer",
    )
    asked = asked_between(None, None)
    report = key_data(asked, MADE, names=True)
    plain = median(partial(_plain_workbook, report), runs=3)
    cells = sum(len(table.rows) * len(table.columns) for table in report.tables)
    show(
        f"key data workbook ({cells} cells)",
        median(partial(workbook_bytes, report), runs=3),
        plain,
        "no goal",
    )
    read = median(lambda: key_data(asked, MADE, names=True), runs=1)
    show("key data, read from the book", read, plain, "no goal")


def _many_rows() -> Report:
    """Sales of a year as a report lists them: days, names, weights, money and shares."""
    columns = (
        Column("Day", Kind.DATE),
        Column("Lot"),
        Column("Customer"),
        Column("What happened"),
        Column("Packs", Kind.COUNT),
        Column("Weight", Kind.MASS),
        Column("Net", Kind.MONEY),
        Column("Share", Kind.RATIO),
        Column("Cost", Kind.UNIT_COST),
    )
    found = tuple(
        (
            START.date() + timedelta(days=at % 365),
            f"PK-{at:05}",
            ("The Anchor", "Mill kitchen", "Market")[at % 3],
            "packed and sold at the stall",
            at % 40,
            200_000 * (at % 40) + at,
            33_333 + 7 * at,
            997 * at % 1_000_000,
            62_550 + at,
        )
        for at in range(MANY_ROWS)
    )
    total = total_row(columns, found, {"Packs", "Weight", "Net"})
    table = Table("Sales", columns, found, total)
    return Report("Year", "Sales", "Farm", "Ana", MADE.at, tables=(table,), currency="EUR")


def _plain_workbook(report: Report) -> bytes:
    """Write the same cells, with one look a column and nothing beside them."""
    file = io.BytesIO()
    book = Workbook(file, {"in_memory": True})
    day, number, words = (
        book.add_format({"num_format": shape}) for shape in ("yyyy-mm-dd", "#,##0.000", "@")
    )
    for table in report.tables:
        sheet = book.add_worksheet()
        looks = [
            day if column.kind is Kind.DATE else number if column.is_number else words
            for column in table.columns
        ]
        for at, row in enumerate(table.rows):
            for place, (cell, look) in enumerate(zip(row, looks, strict=True)):
                sheet.write(at, place, cell, look)
    book.close()
    return file.getvalue()


def _binder() -> None:
    farm, span = the_farm(), Span(START.date(), date(START.year, 12, 31))

    def ours() -> bytes:
        return binder_pdf(binder_cover(span, farm, MADE), sections(span, farm))

    tables = [rows.printed(table) for table in binder_report(span, farm, MADE).tables]
    cells = [row for table in tables for row in (table.heads, *table.rows)]
    show(
        f"binder, read and written ({len(cells)} rows)",
        median(ours, runs=3),
        median(partial(_plain_pages, cells), runs=3),
        "no goal",
    )


def _plain_pages(cells: Cells) -> bytes:
    file = io.BytesIO()
    canvas = Canvas(file, pagesize=landscape(A4))
    for at, row in enumerate(cells):
        if at and at % ROWS_A_PAGE == 0:
            canvas.showPage()
        for column, words in enumerate(row):
            canvas.drawString(40 + 95 * column, 540 - LEADING * (at % ROWS_A_PAGE), words)
    canvas.save()
    return file.getvalue()
