"""Stock counts: kept as they were found, checked against the book, answered one by one."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from farm.actions.common import Doing
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.signing import Signed
from farm.actions.store.counting import Counted, answer_difference, keep_count
from farm.actions.store.storing import count_lot
from farm.models import Answered, StockCount, StockCountAnswer, StockCountLine
from farm.queries.store.counts import Checked, Verdict, checked_lines, count_rows
from ledger.errors import Conflict, Malformed, NotEnough
from ledger.models import Entry, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import text, typed
from tests.farm.goods import crop, materials, on_hand, packs
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def counted(world: World, *found: tuple[Lot, int | None]) -> StockCount:
    signed = Signed(world.owner, world.owner)
    return keep_count(signed, said(world.doing(), *found))


def said(doing: Doing, *found: tuple[Lot, int | None]) -> Counted:
    return Counted(uuid=doing.uuid, happened_at=doing.happened_at, room=None, hidden=False,
                   found=found, sure=True)  # fmt: skip


def doubted(world: World, lot: Lot, found: int) -> None:
    signed = Signed(world.owner, world.owner)
    keep_count(signed, replace(said(world.doing(), (lot, found)), sure=False))


def one_line(world: World, lot: Lot, found: int | None) -> Checked:
    return checked_lines(counted(world, (lot, found)))[0]


def answer(world: World, one: Checked, answered: Answered, note: str = "") -> StockCountAnswer:
    return answer_difference(world.doing(), one.line, answered, note=note)


# --- what was found --------------------------------------------------------------------------


def test_a_count_changes_nothing_in_the_book(world: World) -> None:
    lot, before = crop(world), Entry.objects.count()

    one_line(world, lot, 9 * KG)

    assert (on_hand(lot), Entry.objects.count()) == (10 * KG, before)


def test_more_than_ever_was_in_a_lot_is_asked_about(world: World) -> None:
    """30 packs were packed and 10 sold: 25 may be found, but not 31, nor 300."""
    lot = packs(world, 30)
    sell(world.doing(), place=world.kitchens, customer=world.customer,
         lines=[SoldLine(lot, 10, 5 * UNIT)])  # fmt: skip

    with pytest.raises(PlausibilityQuestion, match=rf"{lot.code}: 300 pieces found, .*30 pieces"):
        doubted(world, lot, 300)
    assert not StockCount.objects.exists()
    assert one_line(world, lot, 25).verdict is Verdict.MORE
    doing = world.doing()
    kept = keep_count(Signed(world.owner, world.owner), replace(said(doing, (lot, 31)), sure=True))
    answer(world, checked_lines(kept)[0], Answered.COUNTED)

    # 30 packed and 11 counted up, of which 10 are sold: 41 ever were in it.
    assert on_hand(lot) == 31
    doubted(world, lot, 41)
    with pytest.raises(PlausibilityQuestion, match="41 pieces is all"):
        doubted(world, lot, 42)


def test_a_weight_is_asked_about_beyond_what_the_scale_may_be_off(world: World) -> None:
    lot = crop(world)

    doubted(world, lot, 10 * KG + 10 * GRAM)
    with pytest.raises(PlausibilityQuestion, match=r"10\.011 kg .* found, where 10\.00 kg"):
        doubted(world, lot, 10 * KG + 11 * GRAM)


def test_the_page_asks_about_too_many_and_keeps_the_count_with_a_tick(world: World) -> None:
    client, lot = signed_in(world.owner), packs(world, 30)
    address = "/store/counts/start/?what=all"
    sent = typed(**{f"found_{lot.pk}": "300"})
    asked = text(client.post(address, sent))

    assert "is all that ever was in it" in asked and "Yes, that is right" in asked
    assert not StockCount.objects.exists()
    client.post(address, sent | {"sure": "on"})
    assert StockCount.objects.get().lines.get(lot=lot).found == 300


@pytest.mark.parametrize(
    ("found_mg", "verdict"),
    [
        (10 * KG, Verdict.AGREES),
        (9_990 * GRAM, Verdict.AGREES),  # 10 g may be the scale's
        (9_989 * GRAM, Verdict.INSIDE),
        (9_604 * GRAM, Verdict.INSIDE),  # 10 x 0.98^2, all that two days allow
        (9_593 * GRAM, Verdict.BEYOND),
        (0, Verdict.BEYOND),  # emptying is never water
        (10_011 * GRAM, Verdict.MORE),
    ],
)
def test_what_is_found_agrees_is_water_or_differs(
    world: World, found_mg: int, verdict: Verdict
) -> None:
    lot = crop(world)
    world.wait(2)

    assert one_line(world, lot, found_mg).verdict is verdict


@pytest.mark.parametrize(
    ("count", "verdict"), [(40, Verdict.AGREES), (39, Verdict.BEYOND), (41, Verdict.MORE)]
)
def test_pieces_agree_to_the_piece(world: World, count: int, verdict: Verdict) -> None:
    assert one_line(world, packs(world), count).verdict is verdict


def test_it_keeps_what_the_book_held_then(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    one = one_line(world, lot, 9_900 * GRAM)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 2 * KG, 9 * UNIT)],
    )

    line = StockCountLine.objects.get(pk=one.line.pk)
    # Believed 1 % a day, at most 2 %.
    assert (line.book, line.expected, line.least) == (10 * KG, 9_900 * GRAM, 9_800 * GRAM)


def test_a_count_sent_twice_is_kept_once(world: World) -> None:
    lot, doing, signed = crop(world), world.doing(), Signed(world.owner, world.owner)

    first = keep_count(signed, said(doing, (lot, 9 * KG)))
    again = keep_count(signed, said(doing, (lot, 9 * KG)))

    assert (again, StockCount.objects.count()) == (first, 1)


def test_other_figures_under_its_number_are_refused(world: World) -> None:
    lot, doing, signed = crop(world), world.doing(), Signed(world.owner, world.owner)
    keep_count(signed, said(doing, (lot, 9 * KG)))

    with pytest.raises(Conflict, match="Count anew"):
        keep_count(signed, said(doing, (lot, 8 * KG)))


def test_it_refuses_a_count_of_nothing(world: World) -> None:
    with pytest.raises(Malformed, match="Nothing was counted"):
        counted(world, (crop(world), None))


@pytest.mark.parametrize("table", [StockCount, StockCountLine])
def test_the_database_itself_refuses_to_change_a_count(world: World, table: type) -> None:
    one_line(world, crop(world), 9 * KG)

    with pytest.raises(DatabaseError), transaction.atomic():
        table.objects.all().delete()  # type: ignore[attr-defined]


# --- what is done about it -------------------------------------------------------------------


def test_a_pick_that_weighs_less_is_weighed_again(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    one = one_line(world, lot, 9_500 * GRAM)

    entry = answer(world, one, Answered.WEIGHED, "sample").entry

    # 2 % of 10 kg is water; the other 0.3 of the 9.8 left carry 50.0000 x 0.3 / 9.8.
    assert entry is not None
    assert dict(entry.lines.values_list("role", "quantity")) == {
        Role.SHRUNK: -200 * GRAM, Role.LOST: -300 * GRAM,
    }  # fmt: skip
    assert (on_hand(lot), entry.reason) == (9_500 * GRAM, "sample")
    assert_book_is_sound()


def test_what_was_sold_since_does_not_count_twice(world: World) -> None:
    lot = crop(world)
    world.wait(1)
    one = one_line(world, lot, 9_900 * GRAM)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 2 * KG, 9 * UNIT)],
    )

    answer(world, one, Answered.WEIGHED)

    # 8 kg on hand less the 0.1 kg that was missing.
    assert on_hand(lot) == 7_900 * GRAM
    assert_book_is_sound()


def test_packs_that_are_not_there_leave_with_their_cost_for_a_cause(world: World) -> None:
    lot = packs(world)

    entry = answer(world, one_line(world, lot, 36), Answered.COUNTED, "sample").entry

    assert entry is not None
    line = entry.lines.get()
    assert (line.role, line.quantity, on_hand(lot)) == (Role.LOST, -4, 36)
    assert_book_is_sound()


def test_without_a_cause_what_is_not_there_stays_in_the_book(world: World) -> None:
    lot = packs(world)

    with pytest.raises(Malformed, match=rf"{lot.code}: 4 .*gone without a cause"):
        answer(world, one_line(world, lot, 36), Answered.COUNTED)
    assert on_hand(lot) == 40


def test_what_is_found_beyond_the_book_comes_in_without_cost(world: World) -> None:
    lot = crop(world)

    answer(world, one_line(world, lot, 11 * KG), Answered.COUNTED)

    assert (on_hand(lot), Lot.objects.get(pk=lot.pk).materials) == (11 * KG, 50 * UNIT)
    assert_book_is_sound()


def test_what_is_left_needs_a_note(world: World) -> None:
    one = one_line(world, packs(world), 36)

    with pytest.raises(Malformed, match="Say why in the note"):
        answer(world, one, Answered.LEFT)
    assert answer(world, one, Answered.LEFT, "four lent to the stall").entry is None


def test_what_was_left_may_be_answered_later(world: World) -> None:
    one = one_line(world, packs(world), 36)
    answer(world, one, Answered.LEFT, "to be looked for")

    answer(world, one, Answered.COUNTED, "sample")

    assert checked_lines(one.line.count)[0].answer.answered == Answered.COUNTED  # type: ignore[union-attr]


def test_a_difference_is_set_right_once(world: World) -> None:
    lot = packs(world)
    one = one_line(world, lot, 36)
    entry = answer(world, one, Answered.COUNTED, "sample").entry
    assert entry is not None

    with pytest.raises(Malformed, match=f"answered by entry {entry.seq}.*Take that entry back"):
        answer(world, one, Answered.COUNTED, "sample")
    assert on_hand(lot) == 36


def test_an_answer_taken_back_leaves_the_difference_open(world: World) -> None:
    lot = packs(world)
    one = one_line(world, lot, 36)
    entry = answer(world, one, Answered.COUNTED, "sample").entry
    assert entry is not None

    undo(world.doing(), entry)

    assert (on_hand(lot), checked_lines(one.line.count)[0].is_open) == (40, True)
    assert_book_is_sound()


def test_an_answer_sent_twice_has_one_effect(world: World) -> None:
    lot, doing = packs(world), world.doing()
    one = one_line(world, lot, 36)

    first = answer_difference(doing, one.line, Answered.COUNTED, note="sample")
    again = answer_difference(doing, one.line, Answered.COUNTED, note="sample")

    assert (again, on_hand(lot)) == (first, 36)


def test_what_agrees_asks_for_no_answer(world: World) -> None:
    one = one_line(world, crop(world), 10 * KG)

    assert (one.choices, one.is_open) == ((), False)
    with pytest.raises(Malformed, match="cannot be answered"):
        answer(world, one, Answered.LEFT, "well")


def test_more_than_is_left_by_now_is_refused(world: World) -> None:
    lot = packs(world)
    one = one_line(world, lot, 10)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 35, 9 * UNIT)],
    )

    with pytest.raises(NotEnough, match=lot.code):
        answer(world, one, Answered.COUNTED, "sample")


def test_counting_what_is_as_the_book_has_it_is_no_entry(world: World) -> None:
    with pytest.raises(Malformed, match="as the book has it"):
        count_lot(world.doing(), lot=crop(world), difference=0)


def test_a_loss_counted_costs_its_part(world: World) -> None:
    lot = crop(world)

    recorded = count_lot(world.doing(reason="dropped"), lot=lot, difference=-KG)

    # A tenth of 50.0000.
    assert materials(recorded, lot, Role.LOST) == 5 * UNIT


# --- pages -----------------------------------------------------------------------------------


def test_a_count_goes_from_the_list_to_its_answers(owner: Client, world: World) -> None:
    lot = packs(world)
    form = owner.get("/store/counts/start/?hidden=on").context["form"]
    data = {f"found_{lot.pk}": "36", "when": "2026-09-08T10:00", "uuid": str(form["uuid"].value())}

    text = owner.post("/store/counts/start/?hidden=on", data, follow=True).content.decode()

    assert "36 packs found, 40 packs in the book: 4 packs less" in text
    assert "hidden while counting" in text


def test_hidden_figures_are_not_on_the_form(owner: Client, world: World) -> None:
    packs(world)

    assert "40 packs" in owner.get("/store/counts/start/").content.decode()
    assert "40 packs" not in owner.get("/store/counts/start/?hidden=on").content.decode()


def test_a_lot_found_elsewhere_is_counted_by_its_code(owner: Client, world: World) -> None:
    lot = crop(world)
    address = f"/store/counts/start/?room={world.fridge_shelf.room.pk}"
    data = {"code_0": lot.code.lower(), "amount_0": "9.8", "when": "2026-09-08T10:00",
            "uuid": str(uuid4())}  # fmt: skip

    owner.post(address, data)

    line = StockCountLine.objects.get()
    assert (line.lot, line.found, line.count.room) == (lot, 9_800 * GRAM, world.fridge_shelf.room)


def test_answers_on_the_page_are_recorded_and_refusals_stand_at_their_row(
    owner: Client, world: World
) -> None:
    first, second = packs(world), packs(world)
    count = counted(world, (first, 36), (second, 30))
    one, two = (line.pk for line in count.lines.all())
    data = {f"do_{one}": "counted", f"why_{one}": "sample", f"uuid_{one}": str(uuid4()),
            f"do_{two}": "counted", f"uuid_{two}": str(uuid4())}  # fmt: skip

    text = owner.post(f"/store/counts/{count.pk}/", data).content.decode()

    assert (on_hand(first), on_hand(second)) == (36, 40)
    assert "gone without a cause" in text
    assert f'name="do_{one}"' not in text


def test_the_count_is_listed_handed_out_and_in_the_binder(owner: Client, world: World) -> None:
    count = counted(world, (packs(world), 36))

    assert f"/store/counts/{count.pk}/" in owner.get("/store/counts/").content.decode()
    assert owner.get(f"/store/counts/{count.pk}/?file=pdf").content.startswith(b"%PDF")
    binder = owner.get("/records/binder/?first=2026-09-01&last=2026-09-30").content.decode()
    assert "Stock counts" in binder


def test_the_list_says_how_lots_came_out(world: World) -> None:
    counted(world, (packs(world), 36), (crop(world), 10 * KG), (crop(world), None))

    row = count_rows()[0]

    assert row.found == {Verdict.BEYOND: 1, Verdict.AGREES: 1, Verdict.UNSEEN: 1}
    assert (row.lots, row.open) == (2, 1)
