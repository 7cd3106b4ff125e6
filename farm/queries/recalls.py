"""A recall as it stands: what was frozen, whom was spoken to, what came back, what is held.

It is open while somebody on its list was not spoken to, or a lot of it is here and on hold.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch, QuerySet

from farm.models import Person, Recall, RecallCall, RecallNotice
from farm.queries.frozen import Frozen, thaw
from ledger.models import Lot, Mark


@dataclass(frozen=True)
class Called:
    """What came of all calls to one customer or place."""

    calls: int
    reached: bool
    last_answer: str
    recovered_mg: int


NOT_CALLED = Called(0, False, "", 0)


@dataclass(frozen=True)
class Released:
    """A lot of a recall that was let go after the recall was opened."""

    at: datetime
    code: str
    by: str
    reason: str
    entry: int


@dataclass(frozen=True)
class RecallState:
    """``customers`` and ``places``: what came of the calls, by key. ``held``: codes, still here."""

    recall: Recall
    frozen: Frozen
    notices: tuple[RecallNotice, ...]
    calls: tuple[RecallCall, ...]
    customers: dict[int, Called]
    places: dict[int, Called]
    held: tuple[str, ...]
    released: tuple[Released, ...]

    @property
    def recovered_mg(self) -> int:
        return sum(call.recovered_mg for call in self.calls)

    @property
    def reached(self) -> int:
        """How many of the customers on the list were spoken to."""
        listed = [one.customer_id for one in self.frozen.recipients]
        return sum(self.customers.get(pk, NOT_CALLED).reached for pk in listed)

    @property
    def silent_places(self) -> int:
        """At how many places, where nobody's name is known, no notice was put up."""
        told = {str(call.place) for call in self.calls if call.place and call.reached}
        return len({one.place for one in self.frozen.unnamed} - told)

    @property
    def is_open(self) -> bool:
        everybody = self.reached == len(self.frozen.recipients) and not self.silent_places
        return bool(self.held) or not everybody


def recalls_kept() -> QuerySet[Recall]:
    """Every recall with its calls and notices; three queries."""
    calls = RecallCall.objects.select_related("customer", "place", "by__user")
    notices = RecallNotice.objects.select_related("by__user")
    return Recall.objects.select_related("by__user").prefetch_related(
        Prefetch("calls", calls), Prefetch("notices", notices)
    )


def state_of(recall: Recall) -> RecallState:
    return states_of([recall])[0]


def states_of(recalls: Iterable[Recall]) -> list[RecallState]:
    """Read recalls of `recalls_kept` as they stand; three queries for any number of them."""
    kept = list(recalls)
    if not kept:
        return []
    held = frozenset(
        Lot.objects.filter(held=True, quantity__gt=0).order_by("pk").values_list("code", flat=True)
    )
    released = _releases()
    return [_state(recall, held, released) for recall in kept]


def open_recalls() -> list[RecallState]:
    """Every recall that is open, the newest first."""
    return [state for state in states_of(recalls_kept()) if state.is_open]


def recalls_by_code() -> dict[str, list[int]]:
    """By the code of each lot the numbers of the recalls that list it; one query."""
    found: dict[str, list[int]] = defaultdict(list)
    for number, frozen in Recall.objects.order_by("number").values_list("number", "frozen"):
        for lot in thaw(frozen).lots:
            found[lot.code].append(number)
    return found


def _releases() -> list[Released]:
    """Every standing release, the oldest first."""
    initials = dict(Person.objects.values_list("pk", "initials"))
    marks = Mark.objects.filter(held=False).exclude(entry__amendments__takes_back=True)
    return [
        Released(mark.entry.happened_at, mark.lot.code, initials.get(mark.entry.by, ""),
                 mark.entry.reason, mark.entry_id)
        for mark in marks.select_related("entry", "lot").order_by("entry_id", "pk")
    ]  # fmt: skip


def _state(recall: Recall, held: frozenset[str], released: Sequence[Released]) -> RecallState:
    calls, frozen = tuple(recall.calls.all()), thaw(recall.frozen)
    listed = [lot.code for lot in frozen.lots]
    customers: dict[int, list[RecallCall]] = defaultdict(list)
    places: dict[int, list[RecallCall]] = defaultdict(list)
    for call in calls:
        if call.customer_id is not None:
            customers[call.customer_id].append(call)
        elif call.place_id is not None:
            places[call.place_id].append(call)
    return RecallState(
        recall=recall,
        frozen=frozen,
        notices=tuple(recall.notices.all()),
        calls=calls,
        customers={pk: _called(rows) for pk, rows in customers.items()},
        places={pk: _called(rows) for pk, rows in places.items()},
        held=tuple(code for code in listed if code in held),
        released=tuple(
            one for one in released if one.code in listed and one.at >= recall.opened_at
        ),
    )


def _called(calls: list[RecallCall]) -> Called:
    return Called(
        calls=len(calls),
        reached=any(call.reached for call in calls),
        last_answer=calls[-1].answer,
        recovered_mg=sum(call.recovered_mg for call in calls),
    )
