"""Trace a lot at the terminal: where it came from, and who received it."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from farm.management.answering import lot_or_refuse, made_here, write_files
from farm.queries.tracing.traces import trace_of
from farm.reports.text import text
from farm.reports.tracing.trace_rows import trace_report


class Command(BaseCommand):
    help = "Where a lot came from and where it went, with customers' names."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", metavar="CODE", help="the code of a lot")
        parser.add_argument("--out", type=Path, help="a folder for the PDF and the spreadsheet")

    def handle(self, *_: Any, **options: Any) -> None:
        made = made_here()
        lot = lot_or_refuse(options["code"])
        report = trace_report(trace_of(lot), made, names=True)
        self.stdout.write(text(report))
        if options["out"]:
            for path in write_files(report, options["out"], f"trace-{lot.code}"):
                self.stdout.write(f"Wrote {path}")
