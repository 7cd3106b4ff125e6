"""What the commands that export share: a span of days, or the trace of some lots."""

from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from farm.exchange.choosing import Asked, asked_between, asked_of_lots
from farm.management.answering import lot_or_refuse


def add_span_arguments(parser: ArgumentParser, file: str) -> None:
    day: dict[str, Any] = {"type": date.fromisoformat, "metavar": "DATE"}
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help=file)
    parser.add_argument("--from", dest="first", **day, help="first day, such as 2026-03-01")
    parser.add_argument("--until", dest="last", **day, help="last day")
    parser.add_argument(
        "--lot",
        action="append",
        default=[],
        metavar="CODE",
        help="instead of days, all behind and after a lot; may be repeated",
    )


def asked_for(options: dict[str, Any]) -> Asked:
    """Find what is asked for; days and lots at once are refused, not guessed at."""
    first, last = options["first"], options["last"]
    if options["lot"] and (first or last):
        raise CommandError("Give days (--from, --until) or lots (--lot), not both.")
    if first and last and first > last:
        raise CommandError(f"--from {first} is after --until {last}. Turn them round.")
    if options["lot"]:
        return asked_of_lots([lot_or_refuse(code) for code in options["lot"]])
    return asked_between(first, last)
