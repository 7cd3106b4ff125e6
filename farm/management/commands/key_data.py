"""Write the traceability workbook: key data elements in the words of 21 CFR 1.1325 to 1.1350."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from farm.exchange.key_data import key_data
from farm.management.answering import made_here
from farm.management.spans import add_span_arguments, asked_for
from farm.reports.xlsx import workbook_bytes


class Command(BaseCommand):
    help = "The traceability workbook of a span of days or of a lot's trace, with customers' names."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_span_arguments(parser, "the workbook to write, such as key-data.xlsx")

    def handle(self, *_: Any, **options: Any) -> None:
        report = key_data(asked_for(options), made_here(), names=True)
        options["out"].write_bytes(workbook_bytes(report))
        rows = ", ".join(f"{table.title} {len(table.rows)}" for table in report.tables)
        self.stdout.write(f"Wrote {options['out']}: {rows}")
