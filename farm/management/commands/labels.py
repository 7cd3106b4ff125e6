"""Print labels of lots from the terminal."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from farm.models import Farm
from farm.queries.stock import lot_by_code, lots_near
from farm.queries.tracing.labels import labels_of, usual_count
from farm.reports.tracing.label_sheets import SHEETS
from farm.reports.tracing.labels import DoesNotFit, labels_pdf
from ledger.models import Lot


class Command(BaseCommand):
    help = "Write a PDF of labels: manage.py labels CODE [CODE ...] --sheet NAME --out FILE"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("codes", nargs="+", metavar="CODE", help="codes of lots")
        parser.add_argument("--sheet", choices=SHEETS, default=next(iter(SHEETS)))
        parser.add_argument("--out", type=Path, required=True, help="the PDF to write")
        parser.add_argument(
            "--count", type=int, help="labels of each lot (default: one a bag, block or pack)"
        )
        parser.add_argument(
            "--start", type=int, default=1, help="first free label on the sheet (default: 1)"
        )
        parser.add_argument(
            "--address", default="", help="what the square code puts before the lot code"
        )

    def handle(self, *_: Any, **options: Any) -> None:
        sheet, count = SHEETS[options["sheet"]], options["count"]
        if not 1 <= options["start"] <= sheet.per_page:
            raise CommandError(f"--start: this sheet has {sheet.per_page} labels.")
        if count is not None and count < 1:
            raise CommandError("--count: state 1 or more.")
        farm = Farm.objects.first()
        if farm is None:
            raise CommandError("There is no farm here yet. Run manage.py start.")
        lots = [named(code) for code in options["codes"]]
        with timezone.override(farm.zone):
            each = zip(lots, labels_of(lots, farm, options["address"]), strict=True)
            labels = [label for lot, label in each for _ in range(count or usual_count(lot))]
        try:
            options["out"].write_bytes(labels_pdf(labels, sheet, start=options["start"]))
        except DoesNotFit as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"Wrote {len(labels)} labels to {options['out']}.")


def named(code: str) -> Lot:
    lot = lot_by_code(code)
    if lot is None:
        meant = ", ".join(lots_near(code))
        remedy = f"Did you mean {meant}?" if meant else "Read it again."
        raise CommandError(f"There is no lot {code}. {remedy}")
    return lot
