"""By-products taken off the cost of the main crop at their stated worth (IAS 2 paragraph 14)."""

from collections.abc import Mapping

import pytest

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import Valued, keep_spent, mark_spent, pick, pick_by_value
from farm.actions.growing.scrap import Scrap
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell
from farm.models import ByProductChoice, ByProductWay, Grade, Stage
from ledger.errors import Malformed
from ledger.models import Charge, Flow, Lot, Role
from ledger.tracing import ancestors, composition, follow
from tests.conftest import signed_in
from tests.farm.costed import blocks_at, costless_farm, lost, whole
from tests.farm.filled import last_entry, send, text
from tests.farm.world import FIRST_DAY, KG, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """500 g a block planned of the first flush, 200 g of the second; by-products are taken off."""
    world = costless_farm()
    world.strain.third_mg = 0
    world.strain.save()
    ByProductChoice.objects.create(from_day=FIRST_DAY, way=ByProductWay.TAKEN_OFF)
    return world


def graded(world: World, blocks: Lot, kilos: Mapping[Grade, int], **kg_money: int) -> list[Lot]:
    """Pick so many kilos of each grade; what a kilo of some is worth stands by its name."""
    grades = {
        grade: Valued(kg * KG, kg_money.get(grade.value, 0) * UNIT) for grade, kg in kilos.items()
    }
    made = pick_by_value(
        world.doing(sure=True), given=[Draw(fresh(blocks), 0)], flush=1, grades=grades
    ).lots
    return [lot for lot in made if lot.pk != blocks.pk]


def firsts(world: World, blocks: Lot, kg: int, flush: int = 1) -> Lot:
    return pick(
        world.doing(sure=True), given=[Draw(fresh(blocks), 0)], flush=flush, firsts_mg=kg * KG
    ).lots[-1]


def binned(
    world: World,
    blocks: Lot,
    count: int,
    scrap: int,
    *,
    minutes: int | None = None,
    kg_money: int = 0,
) -> Lot:
    doing = world.doing(reason="green mould", sure=True, minutes=minutes)
    return check(
        doing,
        lot=fresh(blocks),
        colonised_percent=100,
        lost=count,
        scrap=Scrap(scrap * UNIT, kg_money * UNIT),
    ).lots[-1]


# --- trim ------------------------------------------------------------------------------------


def test_trim_takes_its_worth_and_firsts_and_seconds_share_the_rest_by_mass(world: World) -> None:
    """8 + 1 + 3 kg are 12 of the 28 planned: 85.7142; trim takes 3 x 4.00; 73.7142 by 8 to 1."""
    blocks = blocks_at(world, 40, 200)
    one, two, trim = graded(
        world, blocks, {Grade.FIRSTS: 8, Grade.SECONDS: 1, Grade.TRIM: 3}, trim=4
    )

    assert [whole(lot) for lot in (one, two, trim)] == [65_5237, 8_1905, 12_0000]
    mark_spent(world.doing(), lot=fresh(blocks))
    assert [whole(lot) for lot in (one, two, trim)] == [167_1111, 20_8889, 12_0000]  # 188 by 8 to 1
    assert_book_is_sound()


def test_the_crop_shares_the_rest_by_worth_where_it_states_one(world: World) -> None:
    blocks = blocks_at(world, 40, 280)
    one, two, trim = graded(
        world,
        blocks,
        {Grade.FIRSTS: 8, Grade.SECONDS: 1, Grade.TRIM: 3},
        firsts=20,
        seconds=10,
        trim=4,
    )

    # 12 / 28 of 280 is 120; less 12 it is 108, by 160 to 10.
    assert [whole(lot) for lot in (one, two, trim)] == [101_6470, 6_3530, 12_0000]


def test_trim_takes_no_more_than_the_pick_holds(world: World) -> None:
    blocks = blocks_at(world, 40, 28)
    one, trim = graded(world, blocks, {Grade.FIRSTS: 1, Grade.TRIM: 1}, trim=100)

    assert (whole(one), whole(trim)) == (0, 2_0000)  # 2 / 28 of 28
    assert_book_is_sound()


def test_trim_picked_alone_takes_its_worth_and_leaves_the_rest_on_the_blocks(world: World) -> None:
    """3 kg worth 12.00 out of 200.00; then 9 of the 28 - 3 kg still expected of 188.00."""
    blocks = blocks_at(world, 40, 200)
    (trim,) = graded(world, blocks, {Grade.TRIM: 3}, trim=4)
    assert (whole(trim), whole(blocks)) == (12 * UNIT, 188 * UNIT)

    crop = firsts(world, blocks, 9)
    assert whole(crop) == 67_6800
    mark_spent(world.doing(), lot=fresh(blocks))
    assert (whole(trim), whole(crop)) == (12 * UNIT, 188 * UNIT)
    assert_book_is_sound()


def test_the_work_of_picking_trim_alone_falls_on_the_blocks(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    doing = world.doing(sure=True, minutes=6)
    trim = pick_by_value(
        doing,
        given=[Draw(fresh(blocks), 0)],
        flush=1,
        grades={Grade.TRIM: Valued(3 * KG, 4 * UNIT)},
    ).lots[-1]

    assert Charge.objects.get(entry=trim.made_by, kind="own").lot == blocks
    assert (whole(trim), whole(blocks)) == (12 * UNIT, 194 * UNIT)


def test_trim_of_two_lots_takes_its_worth_of_both_by_what_each_gave(world: World) -> None:
    one, other = blocks_at(world, 10, 100), blocks_at(world, 10, 100)
    pick_by_value(
        world.doing(sure=True),
        given=[Draw(one, 2 * KG), Draw(other, KG)],
        flush=1,
        grades={Grade.TRIM: Valued(3 * KG, 4 * UNIT)},
    )

    assert (whole(one), whole(other)) == (92 * UNIT, 96 * UNIT)


def test_a_corrected_weight_of_trim_corrects_what_it_takes(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    (trim,) = graded(world, blocks, {Grade.TRIM: 3}, trim=4)
    correct_quantity(
        world.doing(sure=True), trim.made_by, lot=trim, role=Role.MADE, right_quantity=2 * KG
    )
    assert (whole(trim), whole(blocks)) == (8 * UNIT, 192 * UNIT)

    undo(world.doing(reason="none"), trim.made_by)
    assert (whole(trim), whole(blocks)) == (0, 200 * UNIT)
    assert_book_is_sound()


def test_nothing_but_trim_leaves_the_rest_a_loss_once_spent(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    (trim,) = graded(world, blocks, {Grade.TRIM: 3}, trim=4)
    mark_spent(world.doing(), lot=fresh(blocks))

    assert (whole(trim), lost(blocks)) == (12 * UNIT, 188 * UNIT)
    assert_book_is_sound()


def test_changing_the_way_changes_no_past(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    trim = graded(world, blocks, {Grade.FIRSTS: 8, Grade.TRIM: 3}, trim=4)[1]
    ByProductChoice.objects.create(from_day=FIRST_DAY, way=ByProductWay.SHARED)
    assert_book_is_sound()

    assert whole(trim) == 12 * UNIT
    later = graded(world, blocks, {Grade.FIRSTS: 8, Grade.TRIM: 2}, firsts=20, trim=4)[1]
    # Shared by worth: 8 of 168 parts of its pick's cost.
    pick_cost = -sum(Flow.objects.get(entry=later.made_by, lot=blocks, role="used").cost)
    assert whole(later) == pytest.approx(pick_cost * 8 / 168, abs=1)


# --- spent blocks ----------------------------------------------------------------------------


def test_spent_blocks_take_their_worth_off_the_picks(world: World) -> None:
    """12 / 28 of 200 is 85.7142; spent blocks worth 6.00; once spent the 12 kg carry 194.00."""
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    kept = keep_spent(
        world.doing(sure=True),
        lot=fresh(blocks),
        worth_money=6 * UNIT,
        crop_kg_money=10 * UNIT,
        kept_mg=30 * KG,
    ).lots[-1]
    assert [whole(lot) for lot in (crop, kept, blocks)] == [85_7142, 6_0000, 108_2858]

    mark_spent(world.doing(), lot=fresh(blocks))
    assert [whole(lot) for lot in (crop, kept, blocks)] == [194_0000, 6_0000, 0]
    assert blocks.pk in ancestors([kept.pk])
    assert_book_is_sound()


def test_spent_blocks_take_what_the_blocks_hold_and_their_whole_worth_once_spent(
    world: World,
) -> None:
    """All 28 kg were picked, so nothing is left on the blocks until they are spent."""
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 20), firsts(world, blocks, 8, 2)
    kept = keep_spent(
        world.doing(sure=True),
        lot=fresh(blocks),
        worth_money=6 * UNIT,
        crop_kg_money=10 * UNIT,
        kept_mg=30 * KG,
    ).lots[-1]
    assert whole(kept) == 0

    mark_spent(world.doing(), lot=fresh(blocks))
    assert [whole(lot) for lot in (*crop, kept)] == [138_5714, 55_4286, 6_0000]  # 194 by 20 to 8
    assert_book_is_sound()


def test_kept_spent_blocks_are_traced_by_their_weight_and_follow_it(world: World) -> None:
    """12 kg picked and 30 kg kept of 40 blocks: 30 of 42 parts; corrected to 18 kg, 18 of 30."""
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    kept = keep_spent(
        world.doing(sure=True), lot=fresh(blocks), worth_money=6 * UNIT, kept_mg=30 * KG
    ).lots[-1]
    mark_spent(world.doing(), lot=fresh(blocks))
    assert composition(kept.pk)[blocks.pk] == 28  # 40 x 30 / 42 is 28.57
    assert composition(crop.pk)[blocks.pk] == 11
    carried = follow(blocks.pk)
    assert carried.on_hand[kept.pk] in (28, 29)
    assert sum(carried.on_hand.values()) + sum(carried.lost.values()) == 40

    correct_quantity(
        world.doing(sure=True), kept.made_by, lot=kept, role=Role.MADE, right_quantity=18 * KG
    )
    assert (composition(kept.pk)[blocks.pk], whole(kept)) == (24, 6_0000)
    assert_book_is_sound()


def test_the_form_of_kept_blocks_asks_no_worth_that_is_not_used(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    firsts(world, blocks, 12)
    client, address = signed_in(world.owner), "/record/keep-spent-blocks/"
    assert "crop_kg_money" not in text(client.get(address))
    sent = send(client, address, lot_list=blocks.code, worth_money="6", kept_mg="30 kg", sure="1")
    assert sent.status_code == 302, text(sent)
    assert whole(Lot.objects.get(card__stage=Stage.SPENT)) == 6_0000

    later = FIRST_DAY.replace(year=FIRST_DAY.year + 20)
    ByProductChoice.objects.create(from_day=later, way=ByProductWay.SHARED)
    assert "crop_kg_money" in text(client.get(address, {"when": f"{later} 08:00"}))


# --- what was binned and still brought something ---------------------------------------------


def test_scrap_of_a_normal_loss_lowers_stock_and_of_an_abnormal_one_that_loss(
    world: World,
) -> None:
    """The published scheme: (70,000 - 100 x 5) / 900 = 77.2222; 880 good carry 67,955.56."""
    blocks = blocks_at(world, 1_000, 70_000, planned_ppm=100_000)
    scrap = binned(world, blocks, 120, 600)

    assert whole(scrap) == 600 * UNIT
    # 20 x 77.2222 is 1,544.44, of which their scrap, 100.00, is no loss.
    assert lost(blocks) == 1_444_4444
    assert whole(blocks) == 67_955_5556
    assert (fresh(blocks).quantity, scrap.card.stage) == (880, Stage.SPENT)
    assert_book_is_sound()

    undo(world.doing(reason="kept"), scrap.made_by)
    assert (whole(blocks), whole(scrap)) == (70_000 * UNIT, 0)
    assert_book_is_sound()


def test_scrap_takes_no_more_than_there_is_and_leaves_no_loss_below_nothing(world: World) -> None:
    blocks = blocks_at(world, 40, 40, planned_ppm=50_000)  # two planned
    scrap = binned(world, blocks, 4, 1_000)

    # The two planned take all 40.00 off; what the two beyond plan held is then nothing.
    assert (whole(scrap), lost(blocks), whole(blocks)) == (40 * UNIT, 0, 0)
    assert_book_is_sound()


def test_scrap_of_a_lot_that_was_lost_whole_lowers_its_loss(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 40, 20)

    # 1.00 of the two planned off 200.00, and 19.00 off the loss of the others.
    assert (whole(scrap), lost(blocks), whole(blocks)) == (20 * UNIT, 180 * UNIT, 0)
    assert_book_is_sound()


def test_scrap_after_the_first_pick_is_taken_off_the_picks(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    scrap = binned(world, blocks, 10, 5)
    assert (whole(scrap), whole(blocks)) == (5 * UNIT, 109_2858)

    mark_spent(world.doing(), lot=fresh(blocks))
    assert (whole(scrap), whole(crop)) == (5 * UNIT, 195 * UNIT)
    assert_book_is_sound()


def test_the_work_of_looking_falls_on_the_blocks_before_scrap_is_taken_off(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 2, 10, minutes=38)

    assert (whole(scrap), whole(blocks)) == (10 * UNIT, 228 * UNIT)


def test_scrap_is_traced_and_sold_and_the_trace_carries_no_money(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8)
    crop = firsts(world, blocks, 12)
    sell(world.doing(sure=True), place=world.stall, lines=[SoldLine(scrap, KG, UNIT)])

    assert composition(scrap.pk)[blocks.pk] == 4
    carried = follow(blocks.pk)
    assert carried.total == 40
    assert carried.total == sum(
        sum(found.values()) for found in (carried.on_hand, carried.sold, carried.lost)
    )
    assert crop.pk in carried.on_hand


def test_scrap_is_refused_where_it_has_no_part(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    doing, scrap = world.doing(reason="green mould", sure=True), Scrap(UNIT, 0)
    with pytest.raises(Malformed, match="as blocks that were noticed on the way"):
        check(doing, lot=blocks, colonised_percent=100, lost=2, passed=10, scrap=scrap)
    with pytest.raises(Malformed, match="0 lost"):
        check(doing, lot=blocks, colonised_percent=100, scrap=scrap)
    assert whole(blocks) == 200 * UNIT


def test_the_form_of_a_check_takes_what_the_lost_ones_are_worth(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    sent = send(
        signed_in(world.owner),
        "/record/check/",
        lot_list=blocks.code,
        colonised_percent="90",
        lost="4",
        cause="green mould",
        scrap_money="8",
        sure="1",
    )

    assert sent.status_code == 302, text(sent)
    scrap = Lot.objects.get(card__stage=Stage.SPENT)
    assert (whole(scrap), last_entry().kind) == (8 * UNIT, "check")
