"""What an address names: a day, the number of a row; anything else is not found."""

from datetime import date

from django.http import Http404
from django.urls.converters import IntConverter, StringConverter

from farm.pages.clock import YEARS

# A database holds no number of a row beyond nineteen digits.
MOST_DIGITS = 18


def day_named(text: str) -> date:
    """Read a day off an address; not found if it is none of the farm's years."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise Http404(f"“{text[:30]}” is no day.") from None
    if day.year not in YEARS:
        raise Http404(f"{text} is no day of this book.")
    return day


class RowConverter(IntConverter):
    """The number of a row in the path; one that no database holds is no address."""

    regex = f"[0-9]{{1,{MOST_DIGITS}}}"


class WordConverter(StringConverter):
    """Whatever stands between two slashes, but no sign that cannot be seen."""

    regex = r"[^/\x00-\x1f\x7f]+"


def number_named(text: str) -> int | None:
    """Read the number of a row: plain digits, as many as a database holds; else None."""
    is_number = text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS
    return int(text) if is_number else None
