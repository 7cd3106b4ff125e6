"""Print a month at the terminal, and write it as files."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.management.answering import made_here, write_files
from farm.models import ClosedMonth
from farm.queries.months.closings import closings
from farm.queries.months.months import NoMonthError, month_of
from farm.reports.months.closing_rows import open_report
from farm.reports.text import text


class Command(BaseCommand):
    help = "What was sold, picked, lost and in stock in a month: manage.py month 2026-10"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", metavar="YEAR-MONTH", help="such as 2026-10")
        parser.add_argument("--out", type=Path, help="a folder for the PDF and the spreadsheet")

    def handle(self, *_: Any, **options: Any) -> None:
        made = made_here()
        try:
            month = month_of(options["month"])
        except NoMonthError as refusal:
            raise CommandError(str(refusal)) from refusal
        known = closings()
        closed = known.of(month)
        if closed:
            self._hand_over(closed, options["out"])
            return
        report = open_report(month, made, known)
        self.stdout.write(text(report))
        if options["out"]:
            for path in write_files(report, options["out"], f"month-{month.key}"):
                self.stdout.write(f"Wrote {path}")

    def _hand_over(self, closed: ClosedMonth, folder: Path | None) -> None:
        """Print and write a closed month as it was frozen, byte for byte."""
        files = {file.name: bytes(file.content) for file in closed.files.all()}
        self.stdout.write(
            next(said.decode() for name, said in files.items() if name.endswith("txt"))
        )
        if folder:
            folder.mkdir(parents=True, exist_ok=True)
            for name, content in files.items():
                (folder / name).write_bytes(content)
                self.stdout.write(f"Wrote {folder / name}")
