"""Say at the terminal what a block, a lot or a kilo cost."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from farm.management.answering import lot_or_refuse, made_here, write_files
from farm.queries.costs.costs import cost_of
from farm.reports.costs.cost_rows import cost_report
from farm.reports.text import text


class Command(BaseCommand):
    help = "What a lot cost so far, line by line, and what a kilo from its blocks costs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", metavar="CODE", help="the code of a lot")
        parser.add_argument("--out", type=Path, help="a folder for the PDF and the spreadsheet")

    def handle(self, *_: Any, **options: Any) -> None:
        made = made_here()
        lot = lot_or_refuse(options["code"])
        report = cost_report(cost_of(lot), made)
        self.stdout.write(text(report))
        if options["out"]:
            for path in write_files(report, options["out"], f"cost-{lot.code}"):
                self.stdout.write(f"Wrote {path}")
