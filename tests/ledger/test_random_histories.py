"""Random histories against a plain book of dicts: 200 histories of 50 actions.

Money is large, so that a figure worked with exact fractions differs by rounding alone.
"""

import pytest
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    precondition,
    rule,
    run_state_machine_as_test,
)

from ledger import book, errors
from ledger.drafts import ChargeDraft, MarkDraft, NewLot
from ledger.models import Line, Role
from tests.ledger.plain_book import turns_round
from tests.ledger.shorthand import draft, line, new
from tests.ledger.two_books import TwoBooks
from tests.repeated import seeds

HISTORIES, ACTIONS = 200, 50
PARTS = 8  # so that they run side by side on several cores

some = st.integers(0, 10**6)  # which lot or entry: taken modulo how many there are
part = st.integers(1, 9)  # of eighths of what is on hand, hence now and then too much
money = st.integers(0, 10**12)
grams = st.integers(0, 500)


class Histories(TwoBooks):
    """Everything a farm may do to its book, in any order."""

    # --- what can happen ---------------------------------------------------------------------

    @rule(quantity=st.integers(1, 999), paid=money)
    def buy(self, quantity: int, paid: int) -> None:
        self.record([line(new("grain"), Role.BOUGHT, quantity, money=paid)])

    @rule(
        which=st.lists(some, min_size=1, max_size=3),
        eighths=part,
        hours=money,
        bases=st.lists(st.integers(0, 5), min_size=1, max_size=2).filter(any),
        count=st.integers(1, 40),
        ppm=st.sampled_from([0, 70_000, 500_000]),
    )
    @precondition(lambda self: self.stocked())
    def make(
        self, which: list[int], eighths: int, hours: int, bases: list[int], count: int, ppm: int
    ) -> None:
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
        self.record(
            [
                line(lot, Role.USED, -whole),
                line(passed, Role.MADE, whole, basis=1, planned_loss_count=planned),
                line(passed, Role.LOST, -failed),
            ]
        )

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

    @rule(
        which=some,
        given=st.integers(1, 500),
        turn=st.integers(0, 3),
        planned=grams,
        later=grams,
        room=money,
    )
    @precondition(lambda self: self.stocked())
    def pick(
        self, which: int, given: int, *, turn: int, planned: int, later: int, room: int
    ) -> None:
        """Pick once more of a turn that is picked over days, or of a lot without turns."""
        block = self.some_lots([which])[0]
        of_turn = {"turn": turn, "pieces": block.quantity, "turn_mg": planned} if turn else {}
        takes = line(block, Role.USED, 0, given_mg=given, later_mg=later, **of_turn)
        self.record([takes, line(new("crop"), Role.MADE, given, basis=1)], falls={block: room})

    @rule(which=st.lists(some, min_size=2, max_size=3), given=st.integers(1, 500), hours=money)
    @precondition(lambda self: self.stocked())
    def pick_together(self, which: list[int], given: int, hours: int) -> None:
        """Pick several lots into firsts and seconds, on one day of the first turn."""
        lots = self.some_lots(which)
        takes = [
            line(
                lot,
                Role.USED,
                0,
                given_mg=given + k,
                turn=1,
                pieces=lot.quantity,
                turn_mg=700,
                later_mg=300,
            )
            for k, lot in enumerate(lots)
        ]
        firsts = line(new("crop"), Role.MADE, given, basis=3)
        seconds = line(new("seconds"), Role.MADE, given, basis=1)
        self.record([*takes, firsts, seconds], hours=hours, falls={lots[0]: hours})

    @rule(which=some, eighths=part)
    @precondition(lambda self: self.stocked())
    def split(self, which: int, eighths: int) -> None:
        """Split a part off; it takes along what was picked of the whole."""
        whole = self.some_lots([which])[0]
        quantity = self.some_of(whole, eighths)
        part = NewLot(whole.item, unit_mass_mg=whole.unit_mass_mg, part_of=whole)
        self.record([line(whole, Role.USED, -quantity), line(part, Role.MADE, quantity, basis=1)])

    @rule(which=some, given=st.integers(1, 500), worth=money, beside=st.booleans())
    @precondition(lambda self: self.stocked())
    def pick_a_by_product(self, which: int, given: int, worth: int, *, beside: bool) -> None:
        """Take a by-product off: beside a main crop, or alone out of the lot itself."""
        block = self.some_lots([which])[0]
        turn = {"turn": 1, "pieces": block.quantity, "turn_mg": 700, "later_mg": 300}
        if beside:
            lines = [
                line(block, Role.USED, 0, given_mg=given, **turn),
                line(new("crop"), Role.MADE, given, basis=1),
                line(new("trim"), Role.MADE, given, worth=worth),
            ]
        else:
            lines = [
                line(block, Role.USED, 0, given_mg=given, worth=worth, **turn),
                line(new("trim"), Role.MADE, given, basis=1),
            ]
        self.record(lines)

    @rule(
        which=some, eighths=part, worth=st.integers(1, 10**12), one=st.sampled_from([0, 1, 70_000])
    )
    @precondition(lambda self: self.stocked())
    def scrap(self, which: int, eighths: int, worth: int, one: int) -> None:
        """Lose some that are worth something still; they share where one of the rest is too."""
        lot = self.some_lots([which])[0]
        lost = self.some_of(lot, eighths)
        self.record(
            [
                line(lot, Role.LOST, -lost, worth=worth, basis=one),
                line(lot, Role.USED, 0, basis=lost, worth=worth),
                line(new("scrap"), Role.MADE, lost, basis=1),
            ]
        )

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

    @rule(which=some, by=st.integers(-500, 500).filter(bool))
    @precondition(lambda self: self.picks())
    def weigh_anew(self, which: int, by: int) -> None:
        """Correct the weight of a pick: later ones of that turn move with it."""
        place, lot = self.picks()[which % len(self.picks())]
        changed = self.plain.weighed_anew(place, lot, by)
        form = draft(line(self.lot(lot), Role.USED, 0, given_mg=by))
        if changed.said[lot, "used"]["given_mg"] < 0:
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
