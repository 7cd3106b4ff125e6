"""Check every truth of the book; stop at the first that does not hold."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from farm.queries.months import account_checks
from farm.queries.months.closings import closings_add_up
from ledger.checks import CHECKS


class Command(BaseCommand):
    help = "Check that the book holds together; exits with 1 at the first broken truth."

    def handle(self, *args: Any, **options: Any) -> None:
        for check in (*CHECKS, closings_add_up, *account_checks.CHECKS):
            finding = check()
            if finding.broken:
                raise CommandError(f"BROKEN: {finding.truth}: {finding.broken}")
            self.stdout.write(f"holds: {finding.truth} ({finding.looked_at})")
