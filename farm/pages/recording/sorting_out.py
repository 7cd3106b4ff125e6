"""What is to be done about a form that waits: how its lots stand now, and one clear next thing."""

from collections.abc import Sequence

from django.urls import reverse

from farm.actions.recording.unfinished import Kept
from farm.kinds.growing import PICK
from farm.kinds.store import PACK
from farm.kinds.tracing import RELEASE
from farm.models import Farm, Person
from farm.pages.access import Right, may
from farm.pages.deeds import BY_SLUG
from farm.pages.selling.tapping import TAP
from farm.pages.ways_out import WayOn, kept_way
from farm.templatetags.farm_format import amount_of
from ledger.models import Lot

# Why a form waits for a person, and is not tried again by itself: sent again, a conflict would
# record the same work twice; a question is for somebody to answer, an error to mend.
WHY = "!why"
CONFLICT, QUESTION, ERROR = "conflict", "question", "error"
# The button of a form that waits for somebody, and what is said beside it.
WAITS_FOR = {
    QUESTION: ("Answer it", "Nothing is written until somebody answers."),
    ERROR: ("Open and mend it", "Nothing is written until it is mended."),
}
# Beside an error or a question: the form elsewhere that mends what was refused.
WAY = "!way"
# Beside a conflict: the entry that the first sending of the form became.
FIRST_ENTRY = "!entry"
UNLISTED = "unlisted_what"


def way_on(kept: Kept, lots: Sequence[Lot], farm: Farm, *, opened_at: str) -> WayOn:
    """Choose the one next thing for a form that waits; ``opened_at``: where it is opened."""
    why = (kept.data.get(WHY) or [""])[0]
    first = kept.data.get(FIRST_ENTRY)
    if why == CONFLICT and first:
        return WayOn(
            f"Look at entry {first[0]}",
            reverse("entry", args=first),
            words="It was sent twice with different words, and the first stands. Look at that "
            "entry: if this one is right, correct the entry; then give this one up.",
        )
    if why in WAITS_FOR:
        return _answered_or_mended(kept, WAITS_FOR[why], opened_at)
    if not lots:
        return _unrecorded(kept, opened_at)
    return _of_lots(lots, farm, opened_at)


def _answered_or_mended(kept: Kept, waits_for: tuple[str, str], opened_at: str) -> WayOn:
    """Lead to what comes before it, where something does; else to the form itself."""
    title, words = waits_for
    elsewhere = kept.data.get(WAY)
    if elsewhere:
        return kept_way(elsewhere, f"{words} Then open it and send it again.")
    return WayOn(title, opened_at, words=words)


def _of_lots(lots: Sequence[Lot], farm: Farm, opened_at: str) -> WayOn:
    held = next((lot for lot in lots if lot.held), None)
    if held:
        return WayOn(
            f"Release lot {held.code}",
            f"{_record(RELEASE.slug)}?lot={held.code}",
            BY_SLUG[RELEASE.slug].rights,
            f"Lot {held.code} is on hold now. Once it is released, this is recorded by itself.",
        )
    empty = next((lot for lot in lots if not lot.quantity), None)
    if empty:
        return WayOn(
            f"See where lot {empty.code} went",
            reverse("lot", args=[empty.code]),
            words=f"Nothing is left of lot {empty.code} now. See where it went: if an entry took "
            "too much, correct it there, and this is recorded by itself.",
        )
    there = ", ".join(f"{amount_of(lot.quantity, lot, farm)} of lot {lot.code}" for lot in lots)
    return WayOn(
        "Open and mend it",
        opened_at,
        words=f"On hand now: {there}. Correct the amount, or record first what made the rest.",
    )


def _unrecorded(kept: Kept, opened_at: str) -> WayOn:
    """What was sold before it was picked or packed waits for that to be recorded."""
    what = (kept.data.get(UNLISTED) or [""])[0]
    if not what:
        return WayOn("Open and mend it", opened_at, words="Nothing is written yet.")
    title, slug = ("Record the pick", PICK.slug)
    if what.startswith("product-"):
        title, slug = "Record the packing", PACK.slug
    by_itself = "Once that is recorded, this is recorded by itself."
    return WayOn(title, _record(slug), BY_SLUG[slug].rights, by_itself)


def may_do(name: str, person: Person) -> bool:
    """Say whether a person may record under a name: an action, a tap, or a kind of record."""
    deed = BY_SLUG.get(name)
    other = Right.SELL if name.startswith(TAP) else Right.RECORD
    return any(may(person, right) for right in (deed.rights if deed else (other,)))


def _record(slug: str) -> str:
    return reverse("record-action", args=[slug])
