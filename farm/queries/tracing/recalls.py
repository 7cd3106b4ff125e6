"""A recall as it stands: what was frozen, what came since, whom was spoken to, what is here.

It lists what was frozen when it was opened, and whatever more its suspects reach since; a lot that
was released with a reason leaves the list, struck, and what is made of it later never comes on it.
It is done when nothing listed is here and everybody who got of it was spoken to, or could not be
on two different days. Somebody who got more since a call is to be told again.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from django.db.models import Count, IntegerField, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.functions import Coalesce

from farm.models import Person, Recall, RecallCall, RecallLot, RecallNotice, the_farm
from farm.queries.tracing.contacts import (
    CUSTOMER,
    GIVEN,
    PLACE,
    Contact,
    Whom,
    contacts_of,
    received,
)
from farm.queries.tracing.frozen_lists import Frozen, thaw
from farm.queries.tracing.reach import Lists, lists_of
from ledger.models import Line, Mark


@dataclass(frozen=True)
class Released:
    """A lot of a recall that was let go after the recall was opened."""

    at: datetime
    code: str
    by: str
    reason: str
    entry: int


class ToDo(NamedTuple):
    """What is left to do for a recall: how many nothing came of yet; lots here; waiting forms."""

    customers: int
    places: int
    given: int
    here: int
    waiting: int


@dataclass(frozen=True)
class RecallState:
    """``frozen``: the lists of the opening. ``now``: of all that is on the list; ``since``: of it.

    ``left``: codes of lots that were let go; ``released``: when, by whom and why.
    """

    recall: Recall
    frozen: Frozen
    now: Lists
    since: tuple["Since", ...]
    notices: tuple[RecallNotice, ...]
    calls: tuple[RecallCall, ...]
    contacts: tuple[Contact, ...]
    left: frozenset[str]
    released: tuple[Released, ...]

    @property
    def recovered_mg(self) -> int:
        return sum(call.recovered_mg for call in self.calls)

    @property
    def sold_mg(self) -> int:
        """All that was sold of what is on either list, less what came back; nothing struck."""
        sales = [one for one in self.frozen.sales if one.lot_code not in self.left]
        return sum(
            {
                (one.entry, one.lot_code, one.what): one.amount.mass_mg or 0
                for one in (*sales, *self.now.sales)
            }.values()
        )

    def received_mg(self, whom: Whom) -> int:
        """What somebody got of what is on either list, whatever came back of it."""
        return sum(
            {
                (got.entry, got.code): got.mass_mg
                for lists in (self.frozen, self.now)
                for got in received(lists)
                if got.whom == whom
            }.values()
        )

    @property
    def customers(self) -> dict[int, Contact]:
        return {int(one.whom.key): one for one in self._of(CUSTOMER)}

    @property
    def places(self) -> dict[str, Contact]:
        return {one.whom.key: one for one in self._of(PLACE)}

    @property
    def reached(self) -> int:
        """How many of the customers on both lists were spoken to."""
        return sum(one.told for one in self._of(CUSTOMER))

    @property
    def to_do(self) -> ToDo:
        def silent(kind: str) -> int:
            return sum(not one.is_done for one in self._of(kind))

        return ToDo(
            customers=silent(CUSTOMER),
            places=silent(PLACE),
            given=silent(GIVEN),
            here=len(self.now.still_here),
            waiting=self.now.waiting,
        )

    @property
    def is_open(self) -> bool:
        return any(self.to_do)

    def _of(self, kind: str) -> list[Contact]:
        return [one for one in self.contacts if one.whom.kind == kind and not one.struck]


@dataclass(frozen=True)
class Since:
    """What an entry recorded after the opening states of a lot on the list, below zero: it left."""

    entry: int
    day: date
    recorded_at: datetime
    what: str
    reason: str
    code: str
    name: str
    pieces: int | None
    mass_mg: int | None
    customer_id: int | None
    place: str


def recalls_kept() -> QuerySet[Recall]:
    """Every recall with its calls and notices; three queries."""
    calls = RecallCall.objects.select_related("customer", "place", "by__user")
    notices = RecallNotice.objects.select_related("by__user")
    return Recall.objects.select_related("by__user", "standing").prefetch_related(
        Prefetch("calls", calls), Prefetch("notices", notices)
    )


def standing_recalls(recalls: QuerySet[Recall]) -> list[tuple[Recall, ToDo]]:
    """Recalls with what is left to do for each, as it was worked last; one query and theirs."""
    forms = RecallLot.objects.filter(
        recall=OuterRef("pk"),
        left=False,
        lot__waiting__isnull=False,
        lot__waiting__answered_at=None,
    )
    waiting = forms.order_by().values("recall").values(count=Count("lot__waiting", distinct=True))
    counted = recalls.select_related("standing", "by__user").annotate(
        waiting=Coalesce(Subquery(waiting, output_field=IntegerField()), 0)
    )
    return [(recall, _to_do(recall)) for recall in counted]


def _to_do(recall: Recall) -> ToDo:
    stands = recall.standing
    return ToDo(
        stands.silent_customers,
        stands.silent_places,
        stands.silent_given,
        here=stands.here,
        waiting=recall.waiting,  # type: ignore[attr-defined]
    )


def open_recalls() -> list[tuple[Recall, ToDo]]:
    """Every recall that is open, the newest first, with what is left to do; one query."""
    return [row for row in standing_recalls(Recall.objects.all()) if any(row[1])]


def recalls_by_code(codes: Iterable[str] | None = None) -> dict[str, list[int]]:
    """By the code of each lot (of some, or all) the numbers of the recalls that list it."""
    found: dict[str, list[int]] = defaultdict(list)
    listed = RecallLot.objects.filter(left=False).order_by("recall__number")
    if codes is not None:
        listed = listed.filter(lot__code__in=list(codes))
    for code, number in listed.values_list("lot__code", "recall__number"):
        found[code].append(number)
    return found


def state_of(recall: Recall) -> RecallState:
    """Read a recall as it stands, from its list as it was worked last."""
    rows = {row.lot_id: row for row in recall.lots.select_related("lot").order_by("lot_id")}
    frozen, calls = thaw(recall.frozen), tuple(recall.calls.all())
    listed = [pk for pk, row in rows.items() if not row.left]
    suspects = [pk for pk in listed if rows[pk].suspect]
    now = lists_of(listed, suspects, frozenset(pk for pk in listed if rows[pk].certain))
    came = {row.lot.code: row.came_at for row in rows.values() if row.came_at}
    left = frozenset(row.lot.code for row in rows.values() if row.left)
    return RecallState(
        recall=recall,
        frozen=frozen,
        now=now,
        since=_since(recall, listed),
        notices=tuple(recall.notices.all()),
        calls=calls,
        contacts=contacts_of(
            recall, frozen, now, came=came, left=left, calls=calls, zone=the_farm().zone
        ),
        left=left,
        released=_releases(recall, [pk for pk, row in rows.items() if row.left]),
    )


# --- what came since, what left ---------------------------------------------------------------


def _since(recall: Recall, lots: Sequence[int]) -> tuple[Since, ...]:
    """What was recorded of listed lots after the opening; one query."""
    lines = Line.objects.filter(lot__in=lots, entry__gt=recall.entry_id).exclude(quantity=0)
    rows = lines.order_by("entry_id", "pk").values_list(
        "entry_id",
        "entry__happened_on",
        "entry__recorded_at",
        "entry__kind",
        "entry__reason",
        "lot__code",
        "lot__item__name",
        "lot__unit_mass_mg",
        "quantity",
        "sale_line__sale__customer_id",
        "sale_line__sale__place__name",
    )
    return tuple(
        Since(
            entry,
            day,
            at,
            what=what,
            reason=reason,
            code=code,
            name=name,
            pieces=quantity if mass else None,
            mass_mg=quantity * (mass or 1),
            customer_id=customer,
            place=place or "",
        )
        for entry, day, at, what, reason, code, name, mass, quantity, customer, place in rows
    )


def _releases(recall: Recall, lots: Sequence[int]) -> tuple[Released, ...]:
    """Every standing release of lots that left a recall, the oldest first; two queries."""
    if not lots:
        return ()
    initials = dict(Person.objects.values_list("pk", "initials"))
    marks = Mark.objects.filter(held=False, lot__in=lots, entry__gt=recall.entry_id)
    standing = marks.standing()
    return tuple(
        Released(
            mark.entry.happened_at,
            mark.lot.code,
            initials.get(mark.entry.by, ""),
            mark.entry.reason,
            mark.entry_id,
        )
        for mark in standing.select_related("entry", "lot").order_by("entry_id", "pk")
    )
