"""Attach readings to a steriliser run; a later set corrects an earlier one and erases nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from farm import habits
from farm.actions.signing import Signed, one_at_a_time
from farm.kinds.growing import STERILISER_RUN
from farm.models import RunReadings, the_farm
from farm.reading_times import HALF_A_DAY, LONGEST
from farm.readings import Reading, Units
from ledger.drafts import canonical
from ledger.errors import Conflict, Malformed
from ledger.models import Entry

USUAL_REFERENCE_MILLI_C = 121_100
USUAL_Z_MILLI_C = 10_000


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where readings come from: typed or a file's name, its units, and where the probe was."""

    name: str
    units: Units
    probe: str
    reference_milli_c: int = USUAL_REFERENCE_MILLI_C
    z_milli_c: int = USUAL_Z_MILLI_C


def _of_this_run(entry: Entry, readings: Sequence[Reading]) -> None:
    """Refuse readings of other days than the run, or of more days than one run takes.

    Half a day either way: a run of the evening may be written down in the morning.
    """
    zone = the_farm().zone
    first, last = (readings[at].at.astimezone(zone) for at in (0, -1))
    read = habits.days(first.date(), last.date())
    ran = entry.happened_at.astimezone(zone)
    if first > ran + HALF_A_DAY or last < ran - HALF_A_DAY:
        raise Malformed(
            f"The readings are of {read}, {first:%H:%M} to {last:%H:%M}, and the run is of "
            f"{habits.short_moment(ran)}. Choose the file of this run, or state its start."
        )
    if last - first > LONGEST:
        raise Malformed(
            f"The readings are of {read}: {(last - first).days} days, longer than any run. "
            "Export the hours of this run alone."
        )


@transaction.atomic
def attach_readings(
    signed: Signed, entry: Entry, *, readings: Sequence[Reading], source: Source, uuid: UUID
) -> RunReadings:
    """Keep the readings of a run; the same form sent twice keeps one set."""
    if entry.kind != STERILISER_RUN:
        raise Malformed(
            f"Entry {entry.seq} is “{entry.kind}”, no {STERILISER_RUN}. Choose the run."
        )
    if source.z_milli_c <= 0:
        raise Malformed("z must be above zero: 10 °C is usual. State it.")
    _of_this_run(entry, readings)
    start = readings[0].at
    rows = [[round((r.at - start).total_seconds()), r.milli_c, r.gauge_pa] for r in readings]
    one_at_a_time(signed)
    known = RunReadings.objects.filter(uuid=uuid).first()
    if known is not None:
        if (known.entry_id, known.readings) != (entry.pk, canonical(rows)):
            raise Conflict(
                f"This form was sent before with other readings, for entry {known.entry_id}. "
                "Fill in a new form."
            )
        return known
    return RunReadings.objects.create(
        entry=entry,
        recorded_at=timezone.now(),
        by=signed.by,
        initials=signed.by.initials,
        typed_by=signed.typed_by,
        uuid=uuid,
        started_at=start,
        source=source.name,
        stated_in=str(source.units),
        probe=source.probe,
        reference_milli_c=source.reference_milli_c,
        z_milli_c=source.z_milli_c,
        readings=canonical(rows),
    )
