"""Print a month at the terminal, and write it as files."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.management.answering import made_here, write_files
from farm.queries.months import NoMonthError, month_figures, month_of
from farm.reports.month_rows import month_report
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
        report = month_report(month_figures(month), made)
        self.stdout.write(text(report))
        if options["out"]:
            for path in write_files(report, options["out"], f"month-{month.key}"):
                self.stdout.write(f"Wrote {path}")
