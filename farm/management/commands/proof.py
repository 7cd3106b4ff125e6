"""Write the chain of entries with a checker that needs nothing but Python, and check it."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.exchange.check_chain import Broken, check
from farm.exchange.proof import write_proof
from farm.tables.writing import FolderError


class Command(BaseCommand):
    help = "Write what the seals cover, and check_chain.py beside it: manage.py proof --out FOLDER"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", type=Path, required=True, help="a new or empty folder")

    def handle(self, *_: Any, **options: Any) -> None:
        folder: Path = options["out"]
        try:
            write_proof(folder)
            found = check(folder)
        except FolderError as refusal:
            raise CommandError(str(refusal)) from refusal
        except Broken as broken:
            raise CommandError(f"Written to {folder}. BROKEN: {broken}") from broken
        self.stdout.write(found)
        self.stdout.write("Keep the head elsewhere. To check, on any computer with Python:")
        self.stdout.write(f"python {folder / 'check_chain.py'} {folder} HEAD")
