"""A time on the farm's clock, where an hour may come twice or not at all."""

from datetime import UTC, date, datetime
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm import habits

Day = TypeVar("Day", bound=date)
FORMATS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%d"]
# Days of other years are slips of the hand: a year of two digits, or a stuck key.
YEARS = range(2000, 2101)


class DayField(forms.DateField):
    """A day in the years of the farm; another is refused with words."""

    def __init__(self, **kwargs: Any) -> None:
        box = forms.DateInput(attrs={"type": "date"}, format=FORMATS[-1])
        super().__init__(widget=box, **kwargs)

    def to_python(self, value: str | datetime | date | None) -> date | None:
        day = super().to_python(value)
        return None if day is None else in_our_years(day)


class ClockField(forms.DateTimeField):
    """When something was done. Of an hour that comes twice, the later one that is not to come."""

    def __init__(self, **kwargs: Any) -> None:
        box = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=FORMATS[0])
        super().__init__(widget=box, input_formats=FORMATS, **kwargs)

    def to_python(self, value: str | datetime | date | None) -> datetime | None:
        try:
            typed = super().to_python(value)
            return None if typed is None else in_our_years(typed)
        except ValidationError as refusal:
            typed = (getattr(refusal, "params", None) or {}).get("datetime")
            if typed is None:
                raise
            return _at_the_change(in_our_years(typed))


def in_our_years(day: Day) -> Day:
    """Refuse a day of a year in which no farm keeps this book."""
    if day.year not in YEARS:
        raise ValidationError(
            f"The year {day.year} cannot be meant. Type the day with all four digits of its year, "
            f"{YEARS[0]} to {YEARS[-1]}."
        )
    return day


def _at_the_change(typed: datetime) -> datetime:
    """Tell an hour that came twice from one that the clocks jumped over, which is refused.

    01:45 on the night in autumn: at 01:50 of its second turn that is five minutes ago; at 01:50
    of its first turn the second is still to come, so it is the first.
    """
    first, second = (typed.replace(tzinfo=timezone.get_current_timezone(), fold=n) for n in (0, 1))
    if first.astimezone(UTC).astimezone(first.tzinfo).replace(tzinfo=None) != typed:
        raise ValidationError(
            f"There was no {typed:%H:%M} on {habits.day(typed)}: the clocks were put forward over "
            "it. Give the time that the clock showed."
        )
    return first if second.astimezone(UTC) > timezone.now() else second
