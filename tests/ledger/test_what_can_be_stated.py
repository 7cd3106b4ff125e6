"""Each rule of what an entry can state, on both sides: what it refuses and what it does not."""

from collections.abc import Callable

import pytest

from ledger import errors
from ledger.drafts import ChargeDraft, LineDraft, NewLot
from ledger.models import Lot, Role
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    bought,
    bought_blocks,
    buys,
    held,
    item,
    line,
    loses,
    makes,
    new,
    on_hand,
    pieces,
    put,
    sells,
    uses,
)

pytestmark = pytest.mark.django_db

Lines = Callable[[Lot], list[LineDraft]]


def takes(lot: Lot, **numbers: int) -> LineDraft:
    return line(lot, Role.USED, 0, **numbers)


def part_of(whole: Lot, name: str = "sawdust") -> NewLot:
    return NewLot(item(name), part_of=whole)


REFUSED: dict[str, tuple[str, Lines]] = {
    "nothing": ("Nothing was stated", lambda _: []),
    "sold adds": ("1 cannot be sold. State a quantity below", lambda lot: [sells(lot, -1)]),
    "sold nothing": ("0 cannot be sold", lambda lot: [sells(lot, 0)]),
    "bought takes": (
        "-1 cannot be bought. State a quantity above",
        lambda _: [buys(new(), -1, 1)],
    ),
    "stranded": ("stranded cannot be stated so", lambda lot: [line(lot, Role.STRANDED, 0)]),
    "a price below": ("money cannot be stated so", lambda _: [buys(new(), 1, -1)]),
    "both below": (
        "money, worth cannot be stated so",
        lambda _: [line(new(), Role.BOUGHT, 1, money=-1, worth=-1)],
    ),
    "a sale with money": (
        "money cannot be stated where it is sold",
        lambda lot: [line(lot, Role.SOLD, -1, money=1)],
    ),
    "a pick of pieces": (
        "a pick takes weight, not 2 pieces",
        lambda lot: [line(lot, Role.USED, -2, given_mg=1), makes(new(), 1)],
    ),
    "a by-product and a draw": (
        "a by-product takes its worth, not 2 besides",
        lambda lot: [line(lot, Role.USED, -2, worth=1), makes(new(), 1)],
    ),
    "a turn of no pieces": ("turn 1 of 0 pieces", lambda lot: [takes(lot, turn=1)]),
    "pieces of no turn": ("turn 0 of 3 pieces", lambda lot: [takes(lot, pieces=3)]),
    "a plan of no turn": ("turn 0 of 0 pieces", lambda lot: [takes(lot, turn_mg=3)]),
    "back without a sale": ("only what was sold comes back", lambda lot: [line(lot, Role.BACK, 1)]),
    "a new lot sold": ("a new lot is bought or made first", lambda _: [line(new(), Role.SOLD, -1)]),
    "pieces of no weight": (
        "state what one piece weighs",
        lambda _: [buys(NewLot(item("jar", "count")), 1, 1)],
    ),
    "a part of what is not used": (
        "cannot be a part of lot",
        lambda lot: [uses(bought(1, 1), 1), makes(part_of(lot), 1)],
    ),
    "a part of what is lost": (
        "cannot be a part of lot",
        lambda lot: [loses(lot, 1), uses(bought(1, 1), 1), makes(part_of(lot), 1)],
    ),
    "a part of another kind": (
        "cannot be a part of lot",
        lambda lot: [uses(lot, 1), makes(part_of(lot, "rye"), 1)],
    ),
    "a worth and a share": (
        "cannot take its worth and share the rest besides",
        lambda lot: [uses(lot, 1), makes(new(), 1, basis=1, worth=1)],
    ),
    "worth beside what is lost for nothing": (
        "what is lost is worth nothing, so it shares with nothing",
        lambda lot: [loses(lot, 1, basis=1)],
    ),
    "lost at a worth that nothing is made of": (
        "worth something, but nothing is made of it",
        lambda lot: [loses(lot, 1, worth=1)],
    ),
    "lost at a worth, and used at none": (
        "worth something, but nothing is made of it",
        lambda lot: [loses(lot, 1, worth=1), uses(lot, 1), makes(new(), 1)],
    ),
    "one lot twice": ("is sold twice in one entry", lambda lot: [sells(lot, 1), sells(lot, 2)]),
    "topped up": ("was made before and is never topped up", lambda lot: [makes(lot, 1)]),
    "an old lot made of another": (
        "was made before and is never topped up",
        lambda lot: [uses(bought(1, 1), 1), makes(lot, 0), makes(new(), 1)],
    ),
    "used for nothing": ("nothing is made of them", lambda lot: [uses(lot, 1)]),
    "cost without a share": (
        "Cost has nowhere to go",
        lambda lot: [uses(lot, 1), makes(new(), 1, basis=0)],
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_it_refuses_by_its_own_rule(what: str) -> None:
    words, lines = REFUSED[what]
    stated = lines(bought(KG, UNIT))
    with pytest.raises(errors.Malformed, match=words):
        put(*stated)


ALLOWED: dict[str, Lines] = {
    "a pick of a turn of some pieces": lambda lot: [
        takes(lot, given_mg=5, turn=1, pieces=3, turn_mg=9),
        makes(new("crop"), 5),
    ],
    "a pick of a lot without turns": lambda lot: [takes(lot, given_mg=5), makes(new("crop"), 5)],
    "a part of what is used": lambda lot: [uses(lot, 2), makes(part_of(lot), 2)],
    "a by-product that takes a worth": lambda lot: [
        uses(lot, 2),
        makes(new("crop"), 1),
        makes(new("trim"), 1, basis=0, worth=5),
    ],
    "lost at a worth that something is made of": lambda lot: [
        loses(lot, 2, worth=5, basis=1),
        takes(lot, worth=5, basis=2),
        makes(new("scrap"), 2),
    ],
    "two new lots of one kind": lambda lot: [uses(lot, 2), makes(new(), 1), makes(new(), 1)],
    "one lot in two roles": lambda lot: [sells(lot, 1), loses(lot, 1)],
    "cost beside an old lot that is only weighed": lambda lot: [
        uses(bought(1, 1), 1),
        line(lot, Role.SHRUNK, -1),
        makes(new(), 1),
    ],
}


@pytest.mark.parametrize("what", ALLOWED)
def test_it_allows_what_stands_beside_the_rule(what: str) -> None:
    lot = bought(KG, UNIT)
    put(*ALLOWED[what](lot))
    assert 0 < on_hand(lot)[0] <= KG


def test_a_charge_may_be_nothing_and_may_fall_only_on_a_lot_that_is_named() -> None:
    lot, other = bought(KG, UNIT), bought(KG, UNIT)
    put(makes(lot, 0), charges=(ChargeDraft("paid", 0),))
    put(makes(lot, 0, basis=0), charges=(ChargeDraft("room", 7, lot=lot),))
    with pytest.raises(errors.Malformed, match=f"Lot {other.code}: room falls on it"):
        put(makes(lot, 0), charges=(ChargeDraft("room", 7, lot=other),))
    lot.refresh_from_db()
    assert lot.cost == (UNIT, 0, 0, 0, 7)


def test_what_is_charged_to_no_lot_needs_a_share_and_what_falls_on_one_does_not() -> None:
    lot = bought(KG, UNIT)
    with pytest.raises(errors.Malformed, match="Cost has nowhere to go"):
        put(makes(lot, 0, basis=0), charges=(ChargeDraft("paid", 7),))
    run = put(makes(lot, 0), charges=(ChargeDraft("paid", 7),)).entry
    amend(run, charges=(ChargeDraft("paid", -7),))  # down to nothing, and no further
    with pytest.raises(errors.Malformed, match="would leave -1 charged for paid"):
        amend(run, charges=(ChargeDraft("paid", -1),))


def test_a_correction_of_what_only_falls_on_a_lot_needs_no_share() -> None:
    lot = bought(KG, UNIT)
    stored = put(makes(lot, 0, basis=0), charges=(ChargeDraft("room", 7, lot=lot),)).entry
    amend(stored, charges=(ChargeDraft("room", 2, lot=lot),))
    lot.refresh_from_db()
    assert lot.cost == (UNIT, 0, 0, 0, 9)


def test_a_correction_that_leaves_a_charge_without_a_share_is_refused() -> None:
    lot = bought(KG, UNIT)
    run = put(makes(lot, 0, basis=1), charges=(ChargeDraft("paid", 7),)).entry
    with pytest.raises(errors.Malformed, match="Cost has nowhere to go"):
        amend(run, line(lot, Role.MADE, 0, basis=-1))


def test_a_lot_that_was_made_before_may_be_named_where_nothing_is_used() -> None:
    blocks = bought_blocks(4, UNIT)
    put(makes(blocks, 0), buys(pieces(), 1, UNIT))
    assert on_hand(blocks) == (4, UNIT)


def test_what_is_made_beside_a_lot_on_hold_that_is_only_weighed_is_free() -> None:
    lot = bought(KG, UNIT)
    held(lot)
    beside = put(line(lot, Role.SHRUNK, -1), buys(new("rye"), KG, UNIT)).lots[1]
    assert not Lot.objects.get(pk=beside.pk).held
