"""A recall as it stands: what was frozen, whom was spoken to, what came back."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import QuerySet

from farm.models import Recall, RecallCall, RecallNotice
from farm.queries.frozen import Frozen, thaw


@dataclass(frozen=True)
class Called:
    """What came of all calls to one customer or place."""

    calls: int
    reached: bool
    last_answer: str
    recovered_mg: int


NOT_CALLED = Called(0, False, "", 0)


@dataclass(frozen=True)
class RecallState:
    """``customers`` and ``places``: what came of the calls, by key."""

    recall: Recall
    frozen: Frozen
    notices: tuple[RecallNotice, ...]
    calls: tuple[RecallCall, ...]
    customers: dict[int, Called]
    places: dict[int, Called]

    @property
    def recovered_mg(self) -> int:
        return sum(call.recovered_mg for call in self.calls)

    @property
    def reached(self) -> int:
        """How many of the customers on the list were spoken to."""
        listed = [one.customer_id for one in self.frozen.recipients]
        return sum(self.customers.get(pk, NOT_CALLED).reached for pk in listed)


def recalls_kept() -> QuerySet[Recall]:
    return Recall.objects.select_related("by__user")


def state_of(recall: Recall) -> RecallState:
    """Read a recall with its notices and calls; two queries."""
    calls = tuple(recall.calls.select_related("customer", "place", "by__user"))
    customers: dict[int, list[RecallCall]] = defaultdict(list)
    places: dict[int, list[RecallCall]] = defaultdict(list)
    for call in calls:
        if call.customer_id is not None:
            customers[call.customer_id].append(call)
        elif call.place_id is not None:
            places[call.place_id].append(call)
    return RecallState(
        recall=recall,
        frozen=thaw(recall.frozen),
        notices=tuple(recall.notices.select_related("by__user")),
        calls=calls,
        customers={pk: _called(rows) for pk, rows in customers.items()},
        places={pk: _called(rows) for pk, rows in places.items()},
    )


def _called(calls: list[RecallCall]) -> Called:
    return Called(
        calls=len(calls),
        reached=any(call.reached for call in calls),
        last_answer=calls[-1].answer,
        recovered_mg=sum(call.recovered_mg for call in calls),
    )
