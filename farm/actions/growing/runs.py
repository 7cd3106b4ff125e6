"""Steriliser runs: what was in, at what pressure and temperature, for how long.

The record informs, it does not certify. Pressure vessels are under local code and licensed
practice: never run one above the maker's plate.
"""

from collections.abc import Sequence

from farm.actions.common import Doing, energy, labour, need_some, need_stage, post
from farm.actions.doubts import minutes_doubt
from farm.actions.growing.run_doubts import need_possible, steam_doubt, weak_doubt
from farm.actions.idempotency import action
from farm.actions.questions import PlausibilityQuestion, answered
from farm.kinds.growing import STERILISER_RUN, Run
from farm.kinds.particulars import Particulars
from farm.models import LotCard, Stage, Steriliser
from farm.refusals import MendedByRecording
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Entry, Line, Lot, Role


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

    Refuses what no run can have been, and asks about what steam does not allow or what is weak.
    """
    need_possible(steriliser, gauge_pa, temperature_milli_c)
    need_some(minutes_at_temperature, "minutes at temperature")
    cards = [_loaded(lot) for lot in lots]
    doing = answered(
        doing,
        minutes_doubt(steriliser, minutes_at_temperature),
        steam_doubt(steriliser, gauge_pa, temperature_milli_c),
        weak_doubt(
            steriliser,
            cards,
            minutes_at_temperature,
            gauge_pa=gauge_pa,
            temperature_milli_c=temperature_milli_c,
        ),
    )
    return post(
        doing,
        STERILISER_RUN,
        [LineDraft(card.lot, Role.MADE, 0, basis=_mass_mg(card.lot)) for card in cards],
        charges=[*labour(doing, STERILISER_RUN), *energy(doing, steriliser.run_wh)],
        particulars=Run(
            steriliser=steriliser.name,
            minutes_at_temperature=minutes_at_temperature,
            gauge_pa=gauge_pa,
            temperature_milli_c=temperature_milli_c,
        ),
    )


def _loaded(lot: Lot) -> LotCard:
    """Refuse what does not go into a steriliser, and a lot of which nothing is left."""
    found = need_stage(lot, Stage.GRAIN, Stage.BAGS)
    if not found.lot.quantity:
        raise Malformed(
            f"Lot {lot.code} has no bags left (0 on hand). Leave it out of the run.", [lot.code]
        )
    return found


def _mass_mg(lot: Lot) -> int:
    return lot.quantity * (lot.unit_mass_mg or 1)


def run_of(lot: Lot) -> Entry | None:
    """The last standing steriliser run that a lot was in; one query."""
    lines = Line.objects.filter(lot=lot, entry__kind=STERILISER_RUN, entry__amends=None)
    standing = lines.standing()
    line = standing.select_related("entry").order_by("-entry_id").first()
    return line.entry if line else None


def unsterilised_doubt(card: LotCard) -> PlausibilityQuestion | None:
    """Ask before a lot is inoculated that was in no run, or in a weak one; once for the lot.

    What was asked when the run was recorded stands answered on it.
    """
    run = run_of(card.lot)
    question = _never_ran(card.lot) if run is None else _weak(run, card)
    if question is None or _was_answered(card.lot, question):
        return None
    return question


def _never_ran(lot: Lot) -> PlausibilityQuestion:
    recorded_first = MendedByRecording(
        f"Lot {lot.code} was in no steriliser run. Record the run first, or choose another lot.",
        [lot.code],
        kind=STERILISER_RUN,
    )
    return PlausibilityQuestion(
        f"Lot {lot.code} was in no steriliser run: spawn put into what was never treated rots. "
        "Record the run first, or choose another lot; if it was bought ready or treated in "
        "another way, say so under Note.",
        [lot.code],
        instead=recorded_first,
    )


def _weak(run: Entry, card: LotCard) -> PlausibilityQuestion | None:
    said = Run.read(run.particulars)
    steriliser = Steriliser.objects.filter(name=said.steriliser).first()
    if said.asked or steriliser is None:
        return None
    return weak_doubt(
        steriliser,
        [card],
        said.minutes_at_temperature,
        gauge_pa=said.gauge_pa,
        temperature_milli_c=said.temperature_milli_c,
    )


def _was_answered(lot: Lot, question: PlausibilityQuestion) -> bool:
    """Say whether this very question was answered when part of the lot was inoculated; a query."""
    entries = Entry.objects.filter(lines__lot=lot, amends=None)
    standing = entries.standing().values_list("particulars", flat=True)
    return any(question.question in Particulars.read(said).asked for said in standing)
