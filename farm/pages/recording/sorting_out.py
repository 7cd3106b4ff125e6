"""To sort out: the forms that wait, how their lots stand now, and one clear next thing for each."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.kinds.growing import PICK
from farm.kinds.store import PACK
from farm.kinds.tracing import RELEASE
from farm.models import Farm
from farm.pages.access import STALL, PageRequest, may, page
from farm.pages.deeds import BY_SLUG
from farm.pages.frame import show
from farm.pages.retrying import UnfinishedRow, unfinished_rows
from farm.pages.sent_forms import CONFLICT, ERROR, FIRST_ENTRY, QUESTION, WAY, WHY
from farm.pages.ways_out import WayOn, kept_way
from farm.templatetags.farm_format import amount_of
from ledger.errors import Refused
from ledger.models import Lot

# The button of a form that waits for somebody, and what is said beside it.
WAITS_FOR = {
    QUESTION: ("Answer it", "Nothing is written until somebody answers."),
    ERROR: ("Open and mend it", "Nothing is written until it is mended."),
}
UNLISTED = "unlisted_what"


@dataclass(frozen=True)
class ToSortOut:
    """A form that waits with its next thing; ``may_open`` it, ``may_go`` on by the button."""

    row: UnfinishedRow
    way: WayOn
    may_open: bool
    may_go: bool


@dataclass(frozen=True)
class UnfinishedPage:
    rows: list[ToSortOut]


@page(*STALL)
def unfinished_list(request: PageRequest) -> HttpResponse:
    rows = unfinished_rows(request.person)
    lots = unfinished.lots_named([row.kept.uuid for row in rows])
    shown = [_to_sort_out(request, row, lots.get(row.kept.uuid, [])) for row in rows]
    return show(request, "farm/record/unfinished.html", UnfinishedPage(shown))


@require_POST
@page(*STALL)
def drop(request: PageRequest, uuid: UUID) -> HttpResponse:
    """Give up what waits; a seller may what they sent themselves."""
    if not any(row.kept.uuid == uuid for row in unfinished_rows(request.person)):
        messages.warning(request, "It waits no more.")
        return redirect("unfinished")
    try:
        unfinished.drop(uuid, request.POST.get("reason", ""))
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "Given up; the word stays with it.")
    return redirect("unfinished")


def _to_sort_out(request: PageRequest, row: UnfinishedRow, lots: list[Lot]) -> ToSortOut:
    way = way_on(row.kept, lots, request.farm, opened_at=row.address)
    may_open = any(may(request.person, right) for right in row.rights)
    may_go = way.is_open_to(request.person) if way.rights else may_open
    return ToSortOut(row, way, may_open, may_go)


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


def _record(slug: str) -> str:
    return reverse("record-action", args=[slug])
