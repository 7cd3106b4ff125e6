"""Trace a lot at the terminal: back to where it came from, or forward to who received it."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from farm.management.answering import lot_or_refuse, made_here, write_files
from farm.queries.tracing.traces import trace_of
from farm.reports.text import text
from farm.reports.tracing.trace_rows import trace_report


class Command(BaseCommand):
    help = "Where a lot came from (or, with --forward, where it went), with customers' names."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", metavar="CODE", help="the code of a lot")
        parser.add_argument("--forward", action="store_true", help="to stock and customers")
        parser.add_argument("--out", type=Path, help="a folder for the PDF and the spreadsheet")

    def handle(self, *_: Any, **options: Any) -> None:
        made = made_here()
        lot, forward = lot_or_refuse(options["code"]), options["forward"]
        report = trace_report(trace_of(lot, forward=forward), made, names=True)
        self.stdout.write(text(report))
        if options["out"]:
            name = f"trace-{lot.code}-{'forward' if forward else 'back'}"
            for path in write_files(report, options["out"], name):
                self.stdout.write(f"Wrote {path}")
