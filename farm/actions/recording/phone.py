"""Forms that waited on a telephone: when they were kept there, and how its clock runs."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.utils import timezone

from farm.models import Person, PhoneForm

# Further off than a year, in either direction, a clock was never set; as far as it is noted.
MOST_OFF = timedelta(days=366)


@dataclass(frozen=True)
class Told:
    """What a telephone says of a form that it sends: both times are by its own clock."""

    uuid: UUID
    saved_at: datetime
    sent_at: datetime


def receive(told: Told, by: Person) -> PhoneForm:
    """Note a form that arrives, once: sent again, what was noted first stands.

    The clock is measured at sending: it said 14:12 and it is 14:00, so it is 720 seconds ahead,
    and what it kept at 9:30 was kept at 9:18. Rounded down to the second.
    """
    now = timezone.now()
    off = min(max(told.sent_at - now, -MOST_OFF), MOST_OFF)
    form, _ = PhoneForm.objects.get_or_create(
        uuid=told.uuid,
        defaults={
            "by": by,
            "saved_at": told.saved_at,
            "received_at": now,
            "clock_off_s": off // timedelta(seconds=1),
        },
    )
    return form
