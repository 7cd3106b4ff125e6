"""Suspects in fourteen weeks of the invented farm, against a plain reading of the lines.

The reading below knows nothing of worked flows, edges and walks in the database: it adds the lines
up by the place of their entry, corrections and reversals included, and goes through them in order.
"""

from collections import defaultdict
from datetime import date
from random import Random

import pytest
from pytest_django import DjangoDbBlocker

from farm.demo.clock import Year
from farm.models import LoadLine, LotCard, Sale, Stage, StallDay
from farm.queries.reach import Reach, reach_of
from farm.queries.suspects import Suspects, suspect_supplier_lot
from ledger.models import Entry, Line, Lot, Role
from tests.farm.test_reach import choice_of

pytestmark = pytest.mark.django_db


class PlainBook:
    """Every entry's quantities as they stand, by lot and role; ``given``: what blocks gave."""

    def __init__(self) -> None:
        self.stated: dict[int, dict[tuple[int, str], int]] = defaultdict(lambda: defaultdict(int))
        self.given: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for line in Line.objects.select_related("entry"):
            self.stated[line.entry.place][line.lot_id, line.role] += line.quantity
            self.given[line.entry.place][line.lot_id] += line.given_mg
        self.lots = {lot.pk: lot for lot in Lot.objects.select_related("item", "card")}
        self.customers = dict(Sale.objects.values_list("entry_id", "customer_id"))
        returns = Line.objects.filter(role=Role.BACK).values_list("entry__place", "returns__entry")
        self.sale_of = {place: sale for place, sale in returns if sale}

    def reached(self, suspects: set[int]) -> tuple[set[int], set[int]]:
        """All lots that hold some of the suspects, and those that must."""
        lots, sure = set(suspects), set(suspects)
        for place in sorted(self.stated):
            made, used = self.made_and_used(place)
            if any(sources & lots for sources in used.values()):
                lots |= made
            if any(sources <= sure for sources in used.values()):
                sure |= made
        return lots, sure

    def made_and_used(self, place: int) -> tuple[set[int], dict[str, set[int]]]:
        made, used = set(), defaultdict(set)
        for (lot, role), quantity in self.stated[place].items():
            if role == Role.MADE and quantity > 0:
                made.add(lot)
            if role == Role.USED and (quantity or self.given[place][lot]):
                used[choice_of(self.lots[lot])].add(lot)
        return made, used

    def kept_mg(self, lots: set[int]) -> dict[int, int]:
        """What each customer received of some lots, less what came back."""
        kept: dict[int, int] = defaultdict(int)
        for place, stated in self.stated.items():
            customer = self.customers.get(self.sale_of.get(place, place))
            for (lot, role), quantity in stated.items():
                if customer and quantity and lot in lots and role in (Role.SOLD, Role.BACK):
                    kept[customer] -= quantity * (self.lots[lot].unit_mass_mg or 1)
        return kept

    def loaded(self, lots: set[int]) -> set[tuple[date, int]]:
        """The load rule: day and lot of every standing load not wholly brought back."""
        gone = set(Entry.objects.filter(takes_back=True).values_list("amends_id", flat=True))
        found = set()
        for stall_day in StallDay.objects.exclude(entry__in=gone):
            sale = Sale.objects.filter(stall_day=stall_day).exclude(entry__in=gone).first()
            for load in LoadLine.objects.filter(stall_day=stall_day, lot__in=lots):
                if sale is None or self.stated[sale.entry_id][load.lot_id, Role.SOLD]:
                    found.add((stall_day.day, load.lot_id))
        return found


@pytest.fixture(scope="module")
def book(played: Year, django_db_blocker: DjangoDbBlocker) -> PlainBook:
    with django_db_blocker.unblock():
        return PlainBook()


def assert_agree(book: PlainBook, found: Reach, suspects: set[int]) -> None:
    lots, sure = book.reached(suspects)
    code = {lot.pk: lot.code for lot in book.lots.values()}
    kept = book.kept_mg(lots)

    assert {lot.code for lot in found.lots} == {code[pk] for pk in lots}
    assert {lot.code for lot in found.lots if lot.certain} == {code[pk] for pk in sure}
    assert {one.customer_id: one.kept_mg for one in found.recipients} == kept
    stalls = {(one.day, one.lot_code) for one in found.unnamed if one.loaded.mass_mg}
    assert stalls == {(day, code[pk]) for day, pk in book.loaded(lots)}
    assert all(sum(one.parts) == one.whole for one in found.balances)


def test_a_bad_delivery_finds_every_affected_customer_and_no_other(book: PlainBook) -> None:
    deliveries = LotCard.objects.filter(stage=Stage.SUPPLY).select_related("supplier")
    marks = {(card.supplier, card.supplier_lot) for card in deliveries if card.supplier}
    reached = 0
    for supplier, marked in marks:
        suspects = suspect_supplier_lot(supplier, marked)
        found = reach_of(suspects)
        assert_agree(book, found, set(suspects.lots))
        reached += len(found.recipients)

    assert reached, "the invented farm sold nothing: the test would prove nothing"


def test_any_few_lots_reach_what_the_lines_say(book: PlainBook) -> None:
    chance, keys = Random(1), sorted(book.lots)
    for at in range(40):
        suspects = chance.sample(keys, 1 + at % 3)
        assert_agree(book, reach_of(Suspects("some", tuple(suspects))), set(suspects))
