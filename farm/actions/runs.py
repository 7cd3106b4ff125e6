"""Steriliser runs: what was in, at what pressure and temperature, for how long.

The record informs, it does not certify. Pressure vessels are under local code and licensed
practice: never run one above the maker's plate.
"""

from collections.abc import Sequence

from farm.actions.common import Doing, energy, labour, need_some, need_stage, post
from farm.actions.doubts import minutes_doubt
from farm.actions.once import action
from farm.actions.questions import answered
from farm.models import Stage, Steriliser
from farm.refusals import MendedByRecording, MendedInDetails
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Entry, Line, Lot, Role

KIND = "steriliser run"


@action
def sterilise(
    doing: Doing,
    *,
    steriliser: Steriliser,
    lots: Sequence[Lot],
    minutes_at_temperature: int,
    gauge_pa: int | None = None,
    temperature_milli_c: int | None = None,
) -> Recorded:
    """Record one run; its energy and labour are shared over what was in it, by mass.

    Refuses a run without a pressure or a temperature, and one above the maker's limit.
    """
    _check_readings(steriliser, gauge_pa, temperature_milli_c)
    need_some(minutes_at_temperature, "minutes at temperature")
    doing = answered(doing, minutes_doubt(steriliser, minutes_at_temperature))
    lines = []
    for lot in lots:
        now = need_stage(lot, Stage.GRAIN, Stage.BAGS).lot
        if not now.quantity:
            raise Malformed(
                f"Lot {lot.code} has no bags left (0 on hand). Leave it out of the run.", [lot.code]
            )
        mass_mg = now.quantity * (now.unit_mass_mg or 1)
        lines.append(LineDraft(lot, Role.MADE, 0, basis=mass_mg))
    return post(
        doing,
        KIND,
        lines,
        charges=[*labour(doing, KIND), *energy(doing, steriliser.run_wh)],
        particulars={
            "steriliser": steriliser.name,
            "minutes_at_temperature": minutes_at_temperature,
            "gauge_pa": gauge_pa,
            "temperature_milli_c": temperature_milli_c,
        },
    )


def run_of(lot: Lot) -> Entry | None:
    """The last standing steriliser run that a lot was in; one query."""
    lines = Line.objects.filter(lot=lot, entry__kind=KIND, entry__amends=None)
    standing = lines.exclude(entry__amendments__takes_back=True)
    line = standing.select_related("entry").order_by("-entry_id").first()
    return line.entry if line else None


def need_sterilised(lot: Lot) -> Entry:
    """Refuse what was never in the steriliser: spawn put into it would rot."""
    run = run_of(lot)
    if run is None:
        raise MendedByRecording(
            f"Lot {lot.code} was in no steriliser run. Record the run first, or choose another "
            "lot.",
            [lot.code],
            kind=KIND,
        )
    return run


def _check_readings(
    steriliser: Steriliser, gauge_pa: int | None, temperature_milli_c: int | None
) -> None:
    if gauge_pa is None and temperature_milli_c is None:
        raise Malformed(f"{steriliser.name}: state the pressure or the temperature that was read.")
    limit_kpa = steriliser.max_gauge_kpa
    # The plate is kept to the kPa, and so is the gauge held against it: 15 psi are 15 psi.
    gauge_kpa = ((gauge_pa or 0) + 500) // 1000
    if limit_kpa and gauge_kpa > limit_kpa:
        raise MendedInDetails(
            f"{steriliser.name}: {gauge_kpa} kPa is above the maker's limit of {limit_kpa} kPa. "
            "If the gauge is right, have the vessel inspected; if it was misread, correct the "
            "number; if the plate says another limit, the owner corrects it under Farm details, "
            "Sterilisers.",
            of=steriliser,
        )
