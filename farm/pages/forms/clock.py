"""A time on the farm's clock, where an hour may come twice or not at all."""

from datetime import UTC, date, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm import habits

FORMATS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%d"]


class ClockField(forms.DateTimeField):
    """When something was done. Of an hour that comes twice, the later one that is not to come."""

    def __init__(self, **kwargs: Any) -> None:
        box = forms.DateTimeInput(attrs={"type": "datetime-local"}, format=FORMATS[0])
        super().__init__(widget=box, input_formats=FORMATS, **kwargs)

    def to_python(self, value: str | datetime | date | None) -> datetime | None:
        try:
            return super().to_python(value)
        except ValidationError as refusal:
            typed = (getattr(refusal, "params", None) or {}).get("datetime")
            if typed is None:
                raise
            return _at_the_change(typed)


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
