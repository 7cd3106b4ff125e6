"""Taps at the till as a page or a telephone sends them, also those that waited to be sorted out."""

from uuid import UUID

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.recording import unfinished
from farm.actions.recording.unfinished import Kept
from farm.actions.selling.till import tap
from farm.models import Farm, Person, StallDay
from farm.pages.access import Right
from farm.pages.retrying import WaitingForm
from farm.pages.selling.till_forms import BACK, TapForm
from farm.pages.sending import acted
from farm.pages.sent_forms import as_sent
from farm.queries.recording.phone import came_from_phone
from farm.queries.selling.till import last_tap, till_goods
from ledger.errors import Malformed

# Before the load at whose till it was tapped.
TAP = "till:"


def _opened_again(load: str) -> tuple[str, str]:
    return "Tap at the till", reverse("till", args=[load])


def _tapped_again(kept: Kept, farm: Farm) -> None:
    """Send a tap that waited once more; what is still refused goes on waiting."""
    load = get_object_or_404(StallDay, pk=kept.name.removeprefix(TAP))
    person = get_object_or_404(Person, pk=kept.by)
    form = TapForm(as_sent(kept.data).data, farm=farm)
    acted(form, lambda: tapped(person, load, form), person)


TAP_WAITS = WaitingForm(TAP, _opened_again, Right.SELL, _tapped_again)


def tapped(person: Person, load: StallDay, form: TapForm) -> str:
    """Keep one tap, and say what it was; what waited under its number is answered.

    Where it had waited on a telephone it counts from when it was kept there.
    """
    goods = {one.item.pk: one for one in till_goods(load)}
    one = goods.get(form.cleaned_data["item"]) if form.is_valid() else None
    if one is None:
        wrong = " ".join(str(words) for found in form.errors.values() for words in found)
        raise Malformed(f"This tap was not understood: {wrong or 'it is of nothing loaded.'}")
    doing = Doing(by=person, happened_at=timezone.now(), uuid=form.cleaned_data["uuid"])
    came = came_from_phone(doing.uuid)
    tap(
        doing,
        stall_day=load,
        item=one.item,
        quantity=form.quantity_of(one),
        of=form.of(),
        unit_money=form.cleaned_data["unit_money"],
        kept_at=came.kept_at if came else None,
    )
    unfinished.answered(doing.uuid, "accepted as a tap")
    return f"{one.item}: {form.cleaned_data['what']}."


def waiting_before(person: Person, load: StallDay, form: TapForm) -> Kept | None:
    """Find the tap that waits to be sorted out and is the last one, which a tap back takes back.

    The tap before it is another customer's, and stays.
    """
    if not form.is_valid() or form.cleaned_data["what"] != BACK:
        return None
    item = str(form.cleaned_data["item"])
    waits = [
        kept
        for kept in unfinished.still_waiting()
        if (kept.name, kept.by) == (f"{TAP}{load.pk}", person.pk)
        and kept.data.get("item") == [item]
        and kept.data.get("what") != [BACK]
    ]
    last = last_tap(load, int(item))
    return waits[-1] if waits and (last is None or last.at < waits[-1].kept_at) else None


def take_back_waiting(kept: Kept, back: UUID, by: Person) -> None:
    """Answer a tap that waits by the tap back; sent again, that finds its own answer."""
    unfinished.answered(kept.uuid, "taken back at the till")
    unfinished.set_aside(kept.name, {"uuid": [str(back)]}, uuid=back, by=by, why="taken back")
    unfinished.answered(back, "it took back a tap that waited")
