"""Close a month at the terminal: freeze its rows and files, once nothing is unfinished."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from farm.actions.months.closing import close_month
from farm.management.answering import made_here
from farm.models import ClosedMonth, Person, Role, the_farm
from farm.queries.months.bills import NO_BILL, charged_and_billed
from farm.queries.months.months import NoMonthError, month_of, month_with
from farm.queries.movements import money_in
from farm.reports.months.closing_rows import closing_files, in_words
from farm.reports.report_heading import made_for
from farm.units import show_money
from ledger.errors import Refused


class Command(BaseCommand):
    help = "Close a month: manage.py close_month 2026-09. It is checked, frozen and kept."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", metavar="YEAR-MONTH", help="such as 2026-09")
        parser.add_argument("--by", metavar="NAME", help="the owner who closes it, by sign-in")

    def handle(self, *_: Any, **options: Any) -> None:
        made_here()  # there is a farm
        try:
            closed = self._close(options["month"], _owner(options["by"]))
        except (NoMonthError, Refused) as refusal:
            raise CommandError(str(refusal)) from refusal
        self._say(closed)

    def _close(self, typed: str, by: Person) -> ClosedMonth:
        month, now = month_of(typed), timezone.now()
        made = made_for(the_farm(), str(by), now)
        return close_month(by, month, at=now, produce=lambda closing: closing_files(closing, made))

    def _say(self, closed: ClosedMonth) -> None:
        currency = the_farm().currency
        self.stdout.write(f"{closed} is closed, after entry {closed.until_seq}.")
        month = month_with(closed.month)
        for row in charged_and_billed(money_in(month.first, month.last)):
            if row.is_missing:
                charged = show_money(row.charged, currency)
                self.stdout.write(f"{row.kind.label}: charged {charged}, {NO_BILL}")
                continue
            billed, charged, difference = (
                show_money(money, currency)
                for money in (row.billed, row.charged, row.under_charged)
            )
            self.stdout.write(
                f"{row.kind.label}: bills {billed}, charged {charged}, difference {difference} "
                f"({in_words(row.under_charged)})"
            )
        for file in closed.files.all():
            self.stdout.write(f"{file.sha256}  {file.name}")
        self.stdout.write(f"{closed.sha256}  the rows")
        self.stdout.write(f"{closed.head_digest}  the head of the chain")


def _owner(name: str | None) -> Person:
    """Find who closes: the named owner, or the only one."""
    owners = Person.objects.filter(role=Role.OWNER).select_related("user")
    found = list(owners.filter(user__username=name) if name else owners[:2])
    if len(found) != 1:
        said = f"“{name}” is no owner here" if name else f"There are {owners.count()} owners"
        raise CommandError(f"{said}. Say who closes the month: --by NAME of an owner's sign-in.")
    return found[0]
