"""Write the binder of records: a PDF with cover and index, and a sortable spreadsheet."""

from argparse import ArgumentParser
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.management.answering import made_here
from farm.models import Farm, the_farm
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import Span, binder_cover, binder_report, sections
from farm.reports.report_heading import Made
from farm.reports.xlsx import workbook_bytes


class Command(BaseCommand):
    help = "Records of a span of days, as an inspector takes them: PDF and spreadsheet."

    def add_arguments(self, parser: ArgumentParser) -> None:
        day: dict[str, Any] = {"type": date.fromisoformat, "required": True, "metavar": "DATE"}
        parser.add_argument("--from", dest="first", **day, help="first day, such as 2026-03-01")
        parser.add_argument("--until", "--to", dest="last", **day, help="last day")
        out = "a folder for both files, or the one file to write, such as binder.pdf"
        parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help=out)

    def handle(self, *_: Any, **options: Any) -> None:
        span, out = Span(options["first"], options["last"]), options["out"]
        if span.first > span.last:
            raise CommandError(f"--from {span.first} is after --until {span.last}. Turn them.")
        name = f"binder-{span.first}-{span.last}"
        if out.suffix in LAYOUTS:
            paths = [out]
        else:
            paths = [out / f"{name}{suffix}" for suffix in LAYOUTS]
            out.mkdir(parents=True, exist_ok=True)
        made, farm = made_here(), the_farm()
        for path in paths:
            path.write_bytes(LAYOUTS[path.suffix](span, farm, made))
            self.stdout.write(f"Wrote {path}")


def as_pdf(span: Span, farm: Farm, made: Made) -> bytes:
    return binder_pdf(binder_cover(span, farm, made), sections(span, farm))


def as_workbook(span: Span, farm: Farm, made: Made) -> bytes:
    return workbook_bytes(binder_report(span, farm, made))


LAYOUTS: dict[str, Callable[[Span, Farm, Made], bytes]] = {".pdf": as_pdf, ".xlsx": as_workbook}
