"""Read open tables into an empty database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.tables.reading import TablesError, read_tables


class Command(BaseCommand):
    help = "Read what write_tables wrote into an empty database, or say line by line why not"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="the folder that write_tables filled")

    def handle(self, *_: Any, **options: Any) -> None:
        try:
            rows = read_tables(options["folder"])
        except TablesError as refusal:
            raise CommandError("\n".join(["Nothing was read in:", *refusal.lines])) from refusal
        self.stdout.write(f"Read {sum(rows.values())} rows in {len(rows)} tables; the book holds.")
        self.stdout.write("Give each person a password: manage.py changepassword NAME")
