"""What may be wrong: some lots, a steriliser run, what stood somewhere, a supplier's lot."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Max, QuerySet

from farm import habits
from farm.kinds.growing import STERILISER_RUN
from farm.models import LotCard, Placing, Room, Stage, Supplier
from ledger.drafts import canonical
from ledger.models import Entry, Flow, Line, Lot


@dataclass(frozen=True)
class Suspects:
    """Lots that something may be wrong with; ``words`` say which and why these.

    ``asked``: what was asked for, where more lots may turn out to be of it: a delivery or a move
    that is typed late.
    """

    words: str
    lots: tuple[int, ...]
    asked: str = ""


def suspect_lots(lots: Sequence[Lot]) -> Suspects:
    codes = [lot.code for lot in lots]
    return Suspects(f"lot{'s' if len(codes) > 1 else ''} {', '.join(codes)}", _keys(lots))


def suspect_culture(lot: Lot) -> Suspects:
    return Suspects(f"culture {lot.code}, {lot.item.name}", (lot.pk,))


def suspect_run(run: Entry) -> Suspects:
    """Suspect everything that was in a steriliser run; one query."""
    lots = Line.objects.filter(entry=run).order_by("pk").values_list("lot_id", flat=True)
    return Suspects(run_words(run), tuple(lots))


def run_words(run: Entry) -> str:
    return f"steriliser run of {habits.short_day(run.happened_on)}, entry {run.seq}"


def suspect_supplier_lot(supplier: Supplier, marked: str) -> Suspects:
    """Suspect every delivery of a supplier with one lot mark, case and outer blanks forgiven."""
    cards = LotCard.objects.filter(supplier=supplier, supplier_lot__iexact=marked.strip())
    found = tuple(cards.order_by("lot_id").values_list("lot_id", flat=True))
    asked = ["supplier", supplier.pk, marked.strip()]
    return Suspects(f"{supplier}'s lot {marked.strip()}", found, canonical(asked))


def suspect_place(room: Room, first: date, last: date) -> Suspects:
    """Suspect what stood in a room on any day of a span; two queries.

    A lot stands where it was put from that day until the day it is put elsewhere or is used up;
    both days count, since the hour of a move says little about what was in the air.
    """
    stays: dict[int, list[tuple[date, int]]] = defaultdict(list)
    placings = Placing.objects.standing()
    moved = placings.filter(entry__happened_on__lte=last).order_by("entry__happened_at", "pk")
    for lot, day, where in moved.values_list("lot_id", "entry__happened_on", "shelf__room_id"):
        stays[lot].append((day, where))
    gone = _used_up(stays)
    found = tuple(
        lot
        for lot, stops in sorted(stays.items())
        if any(
            where == room.pk and until >= first
            for (_, where), until in zip(stops, _ends(stops, gone.get(lot)), strict=True)
        )
    )
    asked = ["room", room.pk, first, last]
    words = f"what stood in {room} from {habits.days(first, last)}"
    return Suspects(words, found, canonical(asked))


def asked_again(asked: str) -> tuple[int, ...]:
    """Answer once more what suspects were asked for by; at most three queries."""
    if not asked:
        return ()
    kind, key, *said = json.loads(asked)
    if kind == "supplier":
        return suspect_supplier_lot(Supplier.objects.get(pk=key), said[0]).lots
    first, last = (date.fromisoformat(day) for day in said)
    return suspect_place(Room.objects.get(pk=key), first, last).lots


def runs_kept() -> QuerySet[Entry]:
    """Every standing steriliser run, newest first."""
    runs = Entry.objects.filter(kind=STERILISER_RUN, amends=None)
    return runs.standing().order_by("-happened_at", "-seq")


def cultures_kept() -> QuerySet[Lot]:
    """Every culture lot, newest first, used up or not."""
    cultures = Lot.objects.filter(card__stage=Stage.CULTURE)
    return cultures.select_related("item", "made_by").order_by("-made_by_id", "-pk")


def _ends(stops: Sequence[tuple[date, int]], gone: date | None) -> list[date]:
    """Say until when a lot stood at each stop: the next one, or the day it was used up."""
    return [*(day for day, _ in stops[1:]), gone or date.max]


def _used_up(lots: Iterable[int]) -> dict[int, date]:
    """The last day on which anything left lots that are empty now."""
    flows = Flow.objects.filter(lot__in=list(lots), lot__quantity=0).exclude(quantity=0)
    rows = flows.values_list("lot_id").annotate(Max("entry__happened_on")).order_by()
    return dict(rows)


def _keys(lots: Iterable[Lot]) -> tuple[int, ...]:
    return tuple(lot.pk for lot in lots)
