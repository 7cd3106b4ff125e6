"""What the commands that answer share: the lot asked for, who makes the report, the files."""

from pathlib import Path

from django.core.management.base import CommandError
from django.utils import timezone

from farm.models import Farm
from farm.queries.finding import UnknownLotError, find_lot
from farm.reports.files import files_of
from farm.reports.report_heading import Made, made_for
from farm.reports.rows import Report
from ledger.models import Lot


def lot_or_refuse(code: str) -> Lot:
    try:
        return find_lot(code)
    except UnknownLotError as refusal:
        raise CommandError(str(refusal)) from refusal


def made_here() -> Made:
    """A report made at the terminal, which knows no person."""
    farm = Farm.objects.first()
    if farm is None:
        raise CommandError("There is no farm here yet. Run manage.py start.")
    return made_for(farm, "the terminal", timezone.now())


def write_files(report: Report, folder: Path, name: str) -> list[Path]:
    """Write the PDF and the spreadsheet into a folder, which is made where it is missing."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for ending, content in files_of(report).items():
        path = folder / f"{name}.{ending}"
        path.write_bytes(content)
        written.append(path)
    return written
