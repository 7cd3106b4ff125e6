"""The facts about lots, added up: the order they stand in, what was picked before, who shares."""

import pytest

from ledger.drafts import ChargeDraft, NewLot
from ledger.models import Lot, Role
from ledger.story import expected_now, picks_before_now, read_steps, read_story
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    bought,
    bought_blocks,
    line,
    makes,
    new,
    put,
    sold,
    uses,
)

pytestmark = pytest.mark.django_db


def picked(lot: Lot, given_mg: int, **numbers: int) -> None:
    put(line(lot, Role.USED, 0, given_mg=given_mg, **numbers), makes(new("crop"), given_mg))


def split_off(whole: Lot, pieces: int) -> Lot:
    part = NewLot(whole.item, unit_mass_mg=whole.unit_mass_mg, part_of=whole)
    return put(uses(whole, pieces), line(part, Role.MADE, pieces, basis=1)).lots[1]


def test_lots_stand_in_the_order_of_making_and_steps_in_the_order_of_the_book() -> None:
    first, second = bought(KG, UNIT), bought(KG, UNIT)
    sold(first, 5)
    amend(first.made_by, line(first, Role.BOUGHT, 7))
    story = read_steps([second.pk, first.pk])

    assert list(story.steps) == [first.pk, second.pk] == list(read_steps().steps)
    assert story.born_at == {first.pk: 1, second.pk: 2}
    steps = [(each.place, each.role, each.quantity) for each in story.steps[first.pk]]
    assert steps == [(1, Role.BOUGHT, KG + 7), (3, Role.SOLD, -5)]


def test_a_return_that_was_corrected_still_says_of_which_sale_it_is() -> None:
    lot = bought(KG, UNIT)
    sale = sold(lot, 50)
    out = sale.lines.get(role=Role.SOLD)
    came = put(line(lot, Role.BACK, 20, returns=out)).entry
    amend(came, line(lot, Role.BACK, -5))
    steps = {each.role: each for each in read_steps([lot.pk]).steps[lot.pk]}

    assert (steps[Role.BACK].quantity, steps[Role.BACK].returns_place) == (15, sale.seq)
    assert steps[Role.SOLD].returns_place == 0


def test_a_by_product_and_what_only_shares_are_picks_and_a_draw_is_none() -> None:
    blocks = bought_blocks(10, UNIT)
    picked(blocks, KG, worth=3)
    put(line(blocks, Role.USED, 0, basis=9), makes(new("spawn"), 4))
    put(uses(blocks, 2), makes(new("mix"), 2))
    story = read_steps([blocks.pk])

    assert [each.weight_mg for each in picks_before_now(story, blocks.pk)] == [KG, 9]


def test_a_part_knows_what_was_picked_of_the_whole_before_it_was_split_off_and_no_more() -> None:
    whole = bought_blocks(40, UNIT)
    turn = {"turn": 1, "pieces": 40, "turn_mg": 20 * KG, "later_mg": 8 * KG}
    picked(whole, 3 * KG, **turn)
    part = split_off(whole, 20)
    picked(whole, 2 * KG, **turn | {"pieces": 20})
    picked(part, KG, **turn | {"pieces": 20})
    piece = split_off(part, 5)

    for story in (read_steps([piece.pk, part.pk, whole.pk]), read_steps([piece.pk]), read_steps()):
        earlier = [each.given_mg for each in story.earlier[piece.pk]]
        assert earlier == [3 * KG, KG]
    assert [each.given_mg for each in read_steps([part.pk]).earlier[part.pk]] == [3 * KG]
    assert whole.pk not in read_steps().earlier
    # 5 of 20: 5 of 20 kg planned, less 5 / 40 of 3 kg and 5 / 20 of 1; and 2 of 8 kg later.
    assert expected_now(read_steps([piece.pk])) == {piece.pk: 5 * KG - 375_000 - 250_000 + 2 * KG}


def test_a_charge_falls_on_all_that_an_entry_made_or_on_one_lot_at_its_own_step() -> None:
    sack = bought(KG, UNIT)
    filled = put(uses(sack, KG), makes(new("mix"), KG, basis=3), charges=(ChargeDraft("paid", 50),))
    mix = filled.lots[1]
    amend(filled.entry, charges=(ChargeDraft("paid", 5), ChargeDraft("own", 2)))
    later = put(uses(mix, 1), makes(new("rest"), 1), charges=(ChargeDraft("room", 9, lot=mix),))
    story = read_story([mix.pk])

    assert story.made_at[filled.entry.seq] == [(mix.pk, 3, 0)]
    assert story.charged == {filled.entry.seq: (0, 55, 2, 0, 0)}
    assert story.falls == {(mix.pk, later.entry.seq): (0, 0, 0, 0, 9)}
    roles = [(each.place, each.role) for each in story.steps[mix.pk]]
    at = later.entry.seq
    assert roles == [(filled.entry.seq, Role.MADE), (at, Role.MADE), (at, Role.USED)]
    assert read_story().charged == story.charged
