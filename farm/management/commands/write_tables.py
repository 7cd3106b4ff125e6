"""Write everything that the farm knows as open tables."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.tables.writing import FolderError, write_tables


class Command(BaseCommand):
    help = "Write everything as CSV tables with a data dictionary: manage.py write_tables FOLDER"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="a new or empty folder")

    def handle(self, *_: Any, **options: Any) -> None:
        try:
            rows = write_tables(options["folder"])
        except FolderError as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"Wrote {sum(rows.values())} rows in {len(rows)} tables.")
        self.stdout.write("Passwords and PINs are not among them.")
