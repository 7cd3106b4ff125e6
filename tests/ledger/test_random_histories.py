"""Random histories against a plain book of dicts: 200 histories of 50 actions."""

from collections.abc import Callable

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from ledger import balances, book, errors, full_pass, tracing
from ledger.book import Recorded
from ledger.drafts import ChargeDraft, Draft, LineDraft, MarkDraft, NewLot
from ledger.models import Entry, Flow, Line, Lot, Role
from tests.ledger.plain_book import Happening, PlainBook, turns_round
from tests.ledger.shorthand import assert_book_is_sound, draft, line, new, pieces
from tests.repeated import seeds

HISTORIES, ACTIONS = 200, 50
PARTS = 8  # so that they run side by side on several cores

some = st.integers(0, 10**6)  # which lot or entry: taken modulo how many there are
part = st.integers(1, 9)  # of eighths of what is on hand, hence now and then too much
money = st.integers(0, 9_999)


class Histories(RuleBasedStateMachine):
    """Everything a farm may do to its book, in any order."""

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

    # --- what can happen ---------------------------------------------------------------------

    @rule(quantity=st.integers(1, 999), paid=money)
    def buy(self, quantity: int, paid: int) -> None:
        self.record([line(new("grain"), Role.BOUGHT, quantity, money=paid)], money=paid)

    @rule(which=st.lists(some, min_size=1, max_size=3), eighths=part, hours=money,
          bases=st.lists(st.integers(0, 5), min_size=1, max_size=2).filter(any),
          count=st.integers(1, 40), ppm=st.sampled_from([0, 70_000, 500_000]))  # fmt: skip
    @precondition(lambda self: self.stocked())
    def make(self, which: list[int], eighths: int, hours: int,
             bases: list[int], count: int, ppm: int) -> None:  # fmt: skip
        used = [line(lot, Role.USED, -self.some_of(lot, eighths)) for lot in self.some_lots(which)]
        made = [
            line(self.kind(k), Role.MADE, count, basis=basis, planned_loss_ppm=ppm)
            for k, basis in enumerate(bases)
        ]
        self.record([*used, *made], hours=hours)

    @rule(which=some, failed=st.integers(1, 9), planned=st.integers(0, 3))
    @precondition(lambda self: self.stocked())
    def inspect(self, which: int, failed: int, planned: int) -> None:
        """Make a new lot of what passed, the failed ones lost in the same entry."""
        lot = self.some_lots([which])[0]
        whole, passed = self.some_of(lot, 8), new("passed")
        self.record([
            line(lot, Role.USED, -whole),
            line(passed, Role.MADE, whole, basis=1, planned_loss_count=planned),
            line(passed, Role.LOST, -failed),
        ])  # fmt: skip

    @rule(which=st.lists(some, min_size=1, max_size=3), hours=money)
    @precondition(lambda self: self.lots)
    def run(self, which: list[int], hours: int) -> None:
        """A steriliser run or a shelf-day: cost on lots of which nothing is used."""
        lots = {self.lots[n % len(self.lots)] for n in which}
        lines = [line(self.lot(pk), Role.MADE, 0, basis=k) for k, pk in enumerate(sorted(lots), 1)]
        self.record(lines, hours=hours)

    @rule(which=some, eighths=part, role=st.sampled_from([Role.LOST, Role.SOLD, Role.SOLD]))
    @precondition(lambda self: self.stocked())
    def leave(self, which: int, eighths: int, role: Role) -> None:
        lot = self.some_lots([which])[0]
        self.record([line(lot, role, -self.some_of(lot, eighths))])

    @rule(which=some, water=st.integers(1, 9))
    @precondition(lambda self: self.stocked())
    def shrink(self, which: int, water: int) -> None:
        lot = self.some_lots([which])[0]
        self.record([line(lot, Role.SHRUNK, -water)], empties=True)

    @rule(which=some, found=st.integers(1, 9))
    @precondition(lambda self: self.lots)
    def count_up(self, which: int, found: int) -> None:
        self.record([line(self.lot(self.lots[which % len(self.lots)]), Role.COUNTED, found)])

    @rule(which=some, eighths=part)
    @precondition(lambda self: self.sales())
    def bring_back(self, which: int, eighths: int) -> None:
        sale = self.sales()[which % len(self.sales())]
        out = Line.objects.get(entry=sale)
        quantity = max(1, -out.quantity * eighths // 8)
        self.record([line(out.lot, Role.BACK, quantity, returns=out)], returns=sale)

    @rule(which=some, given=st.integers(1, 500), expected=st.integers(0, 500))
    @precondition(lambda self: self.stocked())
    def pick(self, which: int, given: int, expected: int) -> None:
        block = self.some_lots([which])[0]
        takes = line(block, Role.USED, 0, given_mg=given, expected_mg=expected)
        self.record([takes, line(new("crop"), Role.MADE, given, basis=1)])

    @rule(which=some)
    @precondition(lambda self: self.stocked())
    def spend(self, which: int) -> None:
        lot = self.some_lots([which])[0]
        self.record([line(lot, Role.LOST, -self.some_of(lot, 8), closes=1)])

    @rule(which=some, held=st.booleans())
    @precondition(lambda self: self.lots)
    def hold_or_release(self, which: int, held: bool) -> None:
        pk = self.lots[which % len(self.lots)]
        recorded = book.record(draft(marks=(MarkDraft(self.lot(pk), held=held),)))
        self.plain.marks.append((recorded.entry.seq, pk, held))

    # --- what can be put right ---------------------------------------------------------------

    @rule(which=some, by=st.integers(-20, 20).filter(bool))
    @precondition(lambda self: self.plain.happened)
    def amend(self, which: int, by: int) -> None:
        place, key = self.some_line(which)
        if key is None:
            return
        changed = self.plain.amended(place, key, by)
        form = draft(line(self.lot(key[0]), Role(key[1]), by))
        if not self.plain.happened[place].standing:
            self.refuses(errors.NotStanding, book.amend, self.entry(place), form)
        elif key[1] in ("sold", "used") and by < 0 and key[0] in self.plain.held():
            self.refuses(errors.OnHold, book.amend, self.entry(place), form)
        elif turns_round(changed):
            self.refuses(errors.Malformed, book.amend, self.entry(place), form)
        elif not self.plain.with_change(place, changed).is_sound():
            self.refuses(errors.NotEnough, book.amend, self.entry(place), form)
        else:
            self.plain = self.plain.with_change(place, changed)
            self.send(lambda sent: book.amend(self.entry(place), sent), form)

    @rule(which=some, by=st.integers(-500, 500))
    @precondition(lambda self: self.charged())
    def amend_a_charge(self, which: int, by: int) -> None:
        place = self.charged()[which % len(self.charged())]
        form = draft(charges=(ChargeDraft("paid", by),))
        if self.plain.happened[place].charged + by < 0:
            self.refuses(errors.Malformed, book.amend, self.entry(place), form)
            return
        self.plain.happened[place].charged += by
        self.send(lambda sent: book.amend(self.entry(place), sent), form)

    @rule(which=some)
    @precondition(lambda self: self.plain.happened)
    def take_back(self, which: int) -> None:
        place = sorted(self.plain.happened)[-1 - which % min(8, len(self.plain.happened))]
        if not self.plain.happened[place].standing:
            self.refuses(errors.NotStanding, book.take_back, self.entry(place), draft())
        elif self.plain.stood_on(place) or not self.plain.without(place).is_sound():
            refusal = self.refuses(errors.NotEnough, book.take_back, self.entry(place), draft())
            assert isinstance(refusal, errors.NotEnough)
            assert refusal.dependants
        else:
            self.plain = self.plain.without(place)
            self.send(lambda sent: book.take_back(self.entry(place), sent), draft())

    @rule(which=st.lists(some, min_size=1, max_size=3))
    @precondition(lambda self: self.stocked())
    def there_and_back(self, which: list[int]) -> None:
        """Record and take back at once: not one figure may stay changed."""
        lots = [lot for lot in self.some_lots(which) if lot.pk not in self.plain.held()]
        before = self.figures()
        lines = [line(lot, Role.USED, -self.some_of(lot, 4)) for lot in lots]
        if self.record([*lines, line(new("mix"), Role.MADE, 5, basis=1)], hours=7):
            self.plain = self.plain.without(max(self.plain.happened))
            book.take_back(self.entry(max(self.plain.happened)), draft())
            assert before == self.figures()

    @rule(which=some)
    @precondition(lambda self: self.forms)
    def send_again(self, which: int) -> None:
        act, form, seq = self.forms[which % len(self.forms)]
        again = act(form)
        assert (again.entry.seq, again.fresh) == (seq, False)

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
        assert (*self.plain.came_in(), 0, 0, 0) == whole.came_in
        below = {pk: tracing.descendants([pk]) for pk in self.lots}
        behind = {pk: tracing.ancestors([pk]) for pk in self.lots}
        assert {(a, b) for a in below for b in below[a]} == {
            (a, b) for b in behind for a in behind[b]
        }
        for pk in self.lots[:3]:
            carried = tracing.follow(pk)
            where = (carried.on_hand, carried.sold, carried.lost)
            assert carried.total == sum(sum(found.values()) for found in where)

    # --- how -----------------------------------------------------------------------------------

    def record(self, lines: list[LineDraft], *, money: int = 0, hours: int = 0,
               returns: int = 0, empties: bool = False) -> bool:  # fmt: skip
        """Record in both books, or see the real one refuse what the plain one foretells."""
        charges = (ChargeDraft("paid", hours),) if hours else ()
        form = draft(*lines, charges=charges)
        old = [(item.lot.pk, item) for item in lines if isinstance(item.lot, Lot)]
        keys = {(pk, item.role): item.quantity for pk, item in old}
        picked = {pk for pk, item in old if item.given_mg}
        happening = Happening(keys, money, hours, picked, returns)
        if any(k[1] in ("used", "sold") and q < 0 and k[0] in self.plain.held()
               for k, q in keys.items()):  # fmt: skip
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


@pytest.mark.django_db
@pytest.mark.parametrize("part_of_all", seeds(PARTS))
def test_every_truth_holds_after_random_histories(part_of_all: int) -> None:
    run_state_machine_as_test(
        seed(part_of_all)(Histories),
        settings=settings(
            max_examples=HISTORIES // PARTS,
            stateful_step_count=ACTIONS,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],  # shrinking takes minutes; the whole history is printed
            suppress_health_check=list(HealthCheck),
        ),
    )
