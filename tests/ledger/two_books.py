"""The real book and the plain one side by side: each step is taken in both, or refused by both."""

from collections.abc import Callable
from fractions import Fraction

import pytest
from django.db import transaction
from hypothesis.stateful import RuleBasedStateMachine, invariant

from ledger import balances, book, errors, full_pass, tracing
from ledger.book import Recorded
from ledger.drafts import ChargeDraft, Draft, LineDraft, NewLot
from ledger.models import Entry, Flow, Lot
from tests.ledger.plain_book import Happening, PlainBook
from tests.ledger.plain_costs import PlainCosts
from tests.ledger.shorthand import assert_book_is_sound, draft, new, pieces


class TwoBooks(RuleBasedStateMachine):
    """What a history needs in order to be told to both books, and what must hold after it."""

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.plain = PlainBook()
        self.lots: list[int] = []
        self.forms: list[tuple[Callable[[Draft], Recorded], Draft, int]] = []

    def teardown(self) -> None:
        try:
            self.everything_holds()
        finally:
            transaction.set_rollback(True)
            self.atomic.__exit__(None, None, None)

    # --- what always holds -------------------------------------------------------------------

    @invariant()
    def quantities_agree(self) -> None:
        kept = dict(Lot.objects.values_list("pk", "quantity"))
        quantities = self.plain.quantities()
        assert {pk: quantities[pk] for pk in self.lots} == kept
        assert self.plain.held() == set(Lot.objects.filter(held=True).values_list("pk", flat=True))

    def everything_holds(self) -> None:
        assert_book_is_sound()
        whole = balances.whole_book()
        paid, hours, room = self.plain.came_in()
        assert (paid, hours, 0, 0, room) == whole.came_in
        self.costs_agree()
        below = {pk: tracing.descendants([pk]) for pk in self.lots}
        behind = {pk: tracing.ancestors([pk]) for pk in self.lots}
        assert {(a, b) for a in below for b in below[a]} == {
            (a, b) for b in behind for a in behind[b]
        }
        for pk in self.lots[:3]:
            carried = tracing.follow(pk)
            where = (carried.on_hand, carried.sold, carried.lost)
            assert carried.total == sum(sum(found.values()) for found in where)

    def costs_agree(self) -> None:
        """Each figure is the exact one but for rounding: under one unit a division behind it."""
        exact = PlainCosts(self.plain).moved
        worked = {key: sum(cost) for key, (_, cost) in full_pass.kept_flows().items()}
        divisions = 3 * sum(len(happening.lines) for happening in self.plain.happened.values())
        for key in exact.keys() | worked.keys():
            assert abs(worked.get(key, 0) - exact.get(key, Fraction())) <= divisions, key

    # --- how -----------------------------------------------------------------------------------

    def record(
        self,
        lines: list[LineDraft],
        *,
        hours: int = 0,
        falls: dict[Lot, int] | None = None,
        returns: int = 0,
        empties: bool = False,
    ) -> bool:
        """Record in both books, or see the real one refuse what the plain one foretells."""
        charges = [ChargeDraft("paid", hours)] if hours else []
        charges += [ChargeDraft("room", room, lot=lot) for lot, room in (falls or {}).items()]
        form = draft(*lines, charges=tuple(charges))
        old = [(item.lot.pk, item) for item in lines if isinstance(item.lot, Lot)]
        keys = {(pk, item.role): item.quantity for pk, item in old}
        happening = Happening(keys, _said(old), hours, _by_pk(falls), returns)
        if any(
            k[1] in ("used", "sold") and q < 0 and k[0] in self.plain.held()
            for k, q in keys.items()
        ):
            self.refuses(errors.OnHold, book.record, form)
            return False
        quantities = self.plain.quantities()
        dried_away = empties and any(quantities[pk] + q <= 0 for (pk, _), q in keys.items())
        if (
            dried_away
            or not self.plain.with_one_more(happening).is_sound()
            or self.loses_new(lines)
        ):
            self.refuses(errors.NotEnough, book.record, form)
            return False
        self.keep(self.send(book.record, form), lines, happening)
        return True

    def keep(self, recorded: Recorded, lines: list[LineDraft], happening: Happening) -> None:
        """Note what was recorded; what is picked from a lot on hold is born on hold."""
        held = self.plain.held()
        uses_held = any(k[1] == "used" and k[0] in held for k in happening.lines)
        for item, lot in zip(lines, recorded.lots, strict=True):
            happening.lines[lot.pk, item.role] = item.quantity
            happening.said |= _said([(lot.pk, item)])
            if isinstance(item.lot, NewLot) and item.lot.part_of:
                self.plain.part_of[lot.pk] = item.lot.part_of.pk
            if isinstance(item.lot, NewLot) and lot.pk not in self.lots:
                self.lots.append(lot.pk)
                if uses_held:
                    self.plain.marks.append((recorded.entry.seq, lot.pk, True))
        self.plain.happened[recorded.entry.seq] = happening

    def loses_new(self, lines: list[LineDraft]) -> bool:
        """Say whether more of a new lot is lost than is made of it."""
        return sum(item.quantity for item in lines if isinstance(item.lot, NewLot)) < 0

    def send(self, act: Callable[[Draft], Recorded], form: Draft) -> Recorded:
        recorded = act(form)
        assert recorded.fresh
        self.forms.append((act, form, recorded.entry.seq))
        return recorded

    def refuses(
        self, error: type[errors.Refused], act: Callable[..., Recorded], *sent: Entry | Draft
    ) -> errors.Refused:
        """See a refusal, and that the same entries are there afterwards."""
        count = Entry.objects.count()
        with pytest.raises(error) as refusal:
            act(*sent)
        assert count == Entry.objects.count()
        return refusal.value

    def entry(self, place: int) -> Entry:
        return Entry.objects.get(pk=place)

    def lot(self, pk: int) -> Lot:
        return Lot.objects.get(pk=pk)

    def kind(self, k: int) -> NewLot:
        return pieces() if k == 0 else new("mix")

    def stocked(self) -> list[int]:
        quantities = self.plain.quantities()
        return [pk for pk in self.lots if quantities[pk] > 0]

    def some_lots(self, which: list[int]) -> list[Lot]:
        stocked = self.stocked()
        return [self.lot(pk) for pk in sorted({stocked[n % len(stocked)] for n in which})]

    def some_of(self, lot: Lot, eighths: int) -> int:
        return max(1, lot.quantity * eighths // 8)

    def some_line(self, which: int) -> tuple[int, tuple[int, str] | None]:
        places = sorted(self.plain.happened)
        place = places[which % len(places)]
        lines = self.plain.happened[place].lines
        keys = [key for key, quantity in lines.items() if quantity]
        return place, keys[which % len(keys)] if keys else None

    def sales(self) -> list[int]:
        happened = self.plain.happened.items()
        return [
            place
            for place, h in happened
            if any(r == "sold" and q for (_, r), q in h.lines.items())
        ]

    def picks(self) -> list[tuple[int, int]]:
        happened = self.plain.happened.items()
        return [(place, lot) for place, h in happened for lot in sorted(h.picked)]

    def charged(self) -> list[int]:
        return [place for place, happening in self.plain.happened.items() if happening.charged]

    def figures(self) -> tuple[object, ...]:
        """Every figure that means something: zero rows of what was taken back do not."""
        lots = Lot.objects.exclude(quantity=0)
        flows = Flow.objects.exclude(quantity=0, materials=0, paid=0).order_by(
            "entry", "lot", "role"
        )
        return (
            list(lots.order_by("pk").values_list("pk", "quantity", "materials", "paid", "held")),
            list(flows.values_list("entry", "lot", "role", "quantity", "materials", "paid")),
            full_pass.kept_edges(),
        )


def _said(lines: list[tuple[int, LineDraft]]) -> dict[tuple[int, str], dict[str, int]]:
    return {(pk, item.role): item.numbers() for pk, item in lines}


def _by_pk(falls: dict[Lot, int] | None) -> dict[int, int]:
    return {lot.pk: amount for lot, amount in (falls or {}).items()}
