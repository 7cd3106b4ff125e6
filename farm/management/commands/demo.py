"""Play the invented farm's year, print the three answers, and serve the site."""

from argparse import ArgumentParser
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from farm.demo.clock import Year, played_clock
from farm.demo.scenery import ACCOUNTS, build
from farm.demo.year import WEEKS, ZONE, play
from farm.management.answering import made_here
from farm.models import Farm, Form, SaleLine, Stage
from farm.queries.costs.costs import cost_of
from farm.queries.months.closings import closings
from farm.queries.months.months import month_figures, month_of
from farm.queries.tracing.traces import trace_of
from farm.reports.costs.cost_rows import cost_report
from farm.reports.months.closing_rows import closed_report
from farm.reports.months.month_rows import month_report
from farm.reports.rows import Report
from farm.reports.text import text
from farm.reports.tracing.trace_rows import trace_report
from ledger.models import Entry, Lot


class Command(BaseCommand):
    help = "Play a demo farm's year into an empty database, show the three answers, serve the site."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop after the answers")
        parser.add_argument(
            "--until",
            type=date.fromisoformat,
            default=None,
            help="the year ends on the Sunday before or on this day (default: yesterday)",
        )
        parser.add_argument("--port", default="8000", help="port to serve on (default: 8000)")

    def handle(self, *_: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        if not self._demo_is_there():
            until = options["until"] or datetime.now(ZONE).date() - timedelta(days=1)
            self._play(until)
        self._answers(options["port"])
        if not options["no_serve"]:
            call_command("runserver", f"127.0.0.1:{options['port']}", "--noreload")

    def _demo_is_there(self) -> bool:
        """Refuse a database with real entries; keep a demo farm that was played before."""
        farm = Farm.objects.first()
        if farm is None and not Entry.objects.exists():
            return False
        if farm is None or not farm.is_demo:
            raise CommandError(
                f"This database holds a real farm ({farm or 'unnamed'}), and the demo leaves it "
                "alone. Name another database: DATABASE_URL=sqlite:///demo.sqlite3"
            )
        self.stdout.write("The demo farm is there already, and stays as it is.")
        return True

    @transaction.atomic
    def _play(self, until: date) -> None:
        """Play all or nothing: an interrupted play leaves the database empty."""
        first_day = until - timedelta(days=(until.weekday() + 1) % 7 + 7 * WEEKS - 1)
        year = Year(build(first_day), datetime.combine(first_day, time(7), tzinfo=ZONE))

        def progress(week: int) -> None:
            self.stdout.write(f"\rPlaying week {week + 1} of {WEEKS} ", ending="")
            self.stdout.flush()

        with played_clock(year):
            play(year, progress)
        self.stdout.write(f"\rPlayed {Entry.objects.count()} entries in {WEEKS} weeks.")

    def _answers(self, port: str) -> None:
        """Print the three answers in short, about the last stall day and the last spent blocks."""
        made = made_here()
        punnets = SaleLine.objects.filter(sale__customer=None, product__form=Form.FRESH)
        sold = punnets.latest("pk").line
        blocks = Lot.objects.filter(card__stage=Stage.BLOCKS, quantity=0, edges_out__isnull=False)
        spent = blocks.order_by("made_by_id").last()
        last = sold.entry.happened_on.replace(day=1) - timedelta(days=1)
        month = month_of(f"{last:%Y-%m}")
        if spent:
            self._say("What a block and a kilo cost", f"manage.py cost {spent.code}")
            self._show(cost_report(cost_of(spent), made), "A kilo")
        self._say("What is behind a sold punnet", f"manage.py trace {sold.lot.code}")
        self._show(trace_report(trace_of(sold.lot), made, names=True), "Everything")
        self._say("The month", f"manage.py month {month.key} --out FOLDER")
        closed = closings().of(month)
        report = closed_report(closed) if closed else month_report(month_figures(month), made)
        self._show(report, "Sales by place")
        self._sign_in(port)

    def _show(self, report: Report, title: str) -> None:
        """Print a report's head and the table whose title begins so."""
        short = [table for table in report.tables if table.title.startswith(title)][:1]
        self.stdout.write(text(replace(report, tables=tuple(short))))

    def _sign_in(self, port: str) -> None:
        self._say("Sign in (demo accounts only)", f"http://127.0.0.1:{port}/")
        for name, password, role in ACCOUNTS:
            self.stdout.write(f"  {role.label:<10} {name} / {password}")

    def _say(self, title: str, how: str) -> None:
        self.stdout.write("")
        self.stdout.write(self.style.MIGRATE_HEADING(f"{title}: {how}"))
