"""What was binned and still brings something shares cost by worth, where by-products share.

Only the planned part of a loss can: what is beyond plan lowers its own loss, whatever the way.
"""

import pytest

from farm.actions.growing.checks import check
from farm.actions.growing.harvesting import mark_spent
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.selling import SoldLine, sell
from farm.models import ByProductChoice, ByProductWay, Loose, Price, SalesTax, Stage
from farm.queries.selling.prices import usual_kg_money
from ledger.errors import Malformed, NotEnough
from ledger.models import Lot, Role
from ledger.tracing import composition, follow
from tests.conftest import signed_in
from tests.farm.costed import blocks_at, costless_farm, lost, whole
from tests.farm.costs.test_second_costs import held_to_the_book
from tests.farm.costs.test_taken_off import binned, firsts
from tests.farm.filled import send, text
from tests.farm.world import FIRST_DAY, KG, UNIT, World, assert_book_is_sound, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """500 g a block planned of the first flush, 200 g of the second; by-products share."""
    world = costless_farm()
    world.strain.third_mg = 0
    world.strain.save()
    return world


def held(*lots: Lot) -> list[int]:
    """What the book says of some lots, once the second working of all costs says the same."""
    assert_book_is_sound()
    worked = held_to_the_book()
    assert [worked[lot.pk] for lot in lots] == [whole(lot) for lot in lots]
    return [whole(lot) for lot in lots]


# --- before the first pick -------------------------------------------------------------------


def test_scrap_of_the_planned_loss_shares_by_worth_and_of_the_rest_lowers_that_loss(
    world: World,
) -> None:
    """100 of the 120 are planned: 500.00 beside 900 blocks of 0.7 kg at 100.00, 63,000.00."""
    blocks = blocks_at(world, 1_000, 70_000, planned_ppm=100_000)
    scrap = binned(world, blocks, 120, 600, kg_money=100)

    # 70,000 x 500 / 63,500 is 551.1811; 69,448.8189 over 900; 20 are 1,543.3070 less 100.00.
    assert held(scrap, blocks) == [651_1811, 67_905_5119]
    assert lost(blocks) == 1_443_3070
    assert 70_000 * UNIT == 651_1811 + 67_905_5119 + 1_443_3070


def test_scrap_of_an_abnormal_loss_alone_lowers_that_loss_whatever_the_crop_is_worth(
    world: World,
) -> None:
    blocks = blocks_at(world, 40, 200)
    scrap = binned(world, blocks, 4, 8, kg_money=10)

    assert held(scrap, blocks) == [8_0000, 180_0000]  # 4 of 40 blocks are 20.00
    assert lost(blocks) == 12_0000


def test_of_a_planned_loss_alone_the_parts_are_the_whole(world: World) -> None:
    """4.00 beside 38 blocks of 0.7 kg at 10.00: 4 of 270 parts of 200.00."""
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 2, 4, kg_money=10)

    assert held(scrap, blocks) == [2_9629, 197_0371]
    undo(world.doing(reason="kept"), scrap.made_by)
    assert held(scrap, blocks) == [0, 200_0000]


def test_where_nothing_else_stays_scrap_takes_what_it_is_worth(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 40, 20, kg_money=10)

    assert held(scrap, blocks) == [20_0000, 0]
    assert lost(blocks) == 180_0000


def test_it_wants_what_a_kilo_of_the_crop_is_worth(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    with pytest.raises(Malformed, match="what a kilo of the crop is worth"):
        binned(world, blocks, 2, 4)


# --- after the first pick --------------------------------------------------------------------


def test_after_the_first_pick_scrap_shares_as_a_pick_of_as_much_worth(world: World) -> None:
    """0.5 kg; 30 blocks still give 15 - 9 kg of this flush and 6 of the next: 0.5 of 12.5."""
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    scrap = binned(world, blocks, 10, 5, kg_money=10)
    assert held(crop, scrap, blocks) == [85_7142, 4_5714, 109_7144]  # of 114.2858

    mark_spent(world.doing(), lot=fresh(blocks))
    assert held(crop, scrap, blocks) == [192_0000, 8_0000, 0]  # 200.00 by 12 to 0.5
    assert lost(blocks) == 0


def test_all_that_is_left_of_picked_blocks_is_binned_and_shares_at_once(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    scrap = binned(world, blocks, 40, 5, kg_money=10)

    assert held(crop, scrap, blocks) == [192_0000, 8_0000, 0]


@pytest.mark.parametrize(
    ("count", "left"),
    # 57.1429 on 20 blocks; 15 still give 7.5 - 4.5 and 3 kg: 0.5 of 6.5. All 20: its worth.
    [(5, [4_3956, 52_7473]), (20, [5_0000, 0])],
)
def test_scrap_of_a_part_that_was_split_off_picked_blocks(
    world: World, count: int, left: list[int]
) -> None:
    blocks = blocks_at(world, 40, 200)
    firsts(world, blocks, 12)
    part = check(world.doing(sure=True), lot=fresh(blocks), colonised_percent=100, passed=20).lots[
        1
    ]
    assert whole(part) == 57_1429

    assert held(binned(world, part, count, 5, kg_money=10), part) == left


# --- corrected -------------------------------------------------------------------------------


def corrected(world: World, scrap: Lot, blocks: Lot, count: int) -> None:
    correct_quantity(
        world.doing(sure=True), scrap.made_by, lot=blocks, role=Role.LOST, right_quantity=count
    )


@pytest.mark.parametrize("right", [3, 5])
@pytest.mark.parametrize("way", ByProductWay)
@pytest.mark.parametrize("is_picked", [False, True])
def test_a_corrected_count_leaves_what_recording_it_right_would_have(
    world: World, right: int, way: ByProductWay, *, is_picked: bool
) -> None:
    """2.00 a block: 4 worth 8.00 corrected are as 3 worth 6.00, or 5 worth 10.00."""
    ByProductChoice.objects.create(from_day=FIRST_DAY, way=way)
    wrong, told = (blocks_at(world, 40, 200, planned_ppm=50_000) for _ in range(2))
    made = []
    for blocks, count in ((wrong, 4), (told, right)):
        if is_picked:
            firsts(world, blocks, 12)
        made.append(binned(world, blocks, count, 2 * count, kg_money=10))
    corrected(world, made[0], wrong, right)

    assert held(made[0], wrong) == held(made[1], told)
    block_mg = fresh(wrong).unit_mass_mg
    assert block_mg
    assert [fresh(lot).quantity for lot in made] == [right * block_mg] * 2
    assert composition(made[0].pk)[wrong.pk] == composition(made[1].pk)[told.pk]
    assert follow(wrong.pk).on_hand[wrong.pk] == follow(told.pk).on_hand[told.pk]


def test_all_that_was_left_corrected_to_less_shares_beside_what_stays(world: World) -> None:
    blocks = blocks_at(world, 40, 200)
    crop = firsts(world, blocks, 12)
    scrap = binned(world, blocks, 40, 20, kg_money=10)
    corrected(world, scrap, blocks, 10)

    # 5.00 are 0.5 kg, as if 10 had been binned.
    assert held(crop, scrap, blocks) == [85_7142, 4_5714, 109_7144]


def test_the_page_of_a_correction_says_that_weight_and_worth_follow(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8, kg_money=10)
    address = f"/entries/{scrap.made_by_id}/correct/"
    page = text(signed_in(world.owner).get(address, {"lot": blocks.code, "role": "lost"}))

    assert f"The weight of {scrap.code} and what it is worth follow the count." in page


def test_nothing_lost_after_all_leaves_no_scrap(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8, kg_money=10)
    corrected(world, scrap, blocks, 0)

    assert held(scrap, blocks) == [0, 200_0000]
    assert fresh(scrap).quantity == 0


def test_scrap_that_was_sold_keeps_its_count(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8, kg_money=10)
    sell(
        world.doing(sure=True),
        place=world.stall,
        lines=[SoldLine(scrap, fresh(scrap).quantity, UNIT)],
    )
    with pytest.raises(NotEnough, match=scrap.code):
        corrected(world, scrap, blocks, 3)


def test_a_corrected_weight_of_scrap_moves_no_cost(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    scrap = binned(world, blocks, 4, 8, kg_money=10)
    before = held(scrap, blocks)
    correct_quantity(
        world.doing(sure=True), scrap.made_by, lot=scrap, role=Role.MADE, right_quantity=5 * KG
    )

    assert (held(scrap, blocks), fresh(scrap).quantity) == (before, 5 * KG)


# --- traced, asked ---------------------------------------------------------------------------


def test_scrap_that_shares_is_traced_whole(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    early = binned(world, blocks, 4, 8, kg_money=10)
    crop = firsts(world, blocks, 12)
    late = binned(world, blocks, 6, 5, kg_money=10)
    mark_spent(world.doing(), lot=fresh(blocks))

    assert composition(early.pk)[blocks.pk] == 4
    assert composition(late.pk)[blocks.pk] == 40 * 5 // 125  # as 0.5 kg of 12.5
    assert composition(crop.pk)[blocks.pk] == 40 * 120 // 125
    carried = follow(blocks.pk)
    assert sum(carried.on_hand.values()) + sum(carried.lost.values()) == carried.total == 40


def test_the_form_asks_for_a_kilo_of_the_crop_only_where_by_products_share(world: World) -> None:
    blocks = blocks_at(world, 40, 200, planned_ppm=50_000)
    client = signed_in(world.owner)
    Price.objects.create(
        species=world.species,
        state=Loose.FRESH,
        from_day=FIRST_DAY,
        pack_money=107 * UNIT // 10,
        tax_included=True,
    )
    SalesTax.objects.create(
        species=world.species, state=Loose.FRESH, from_day=FIRST_DAY, rate_ppm=70_000
    )
    field = text(client.get("/record/check/")).partition('name="crop_kg_money"')[2][:40]
    assert 'value="€10.00"' in field

    said = {
        "lot_list": blocks.code,
        "colonised_percent": "90",
        "lost": "2",
        "cause": "green mould",
        "scrap_money": "4",
        "sure": "1",
    }
    assert "what a kilo of the crop is worth" in text(send(client, "/record/check/", **said))
    sent = send(client, "/record/check/", **said, crop_kg_money="10")
    assert sent.status_code == 302, text(sent)
    assert whole(Lot.objects.get(card__stage=Stage.SPENT)) == 2_9629

    ByProductChoice.objects.create(from_day=FIRST_DAY, way=ByProductWay.TAKEN_OFF)
    assert "crop_kg_money" not in text(client.get("/record/check/"))


def test_the_usual_price_of_a_kilo_is_of_what_is_loose_and_else_of_packs(world: World) -> None:
    assert usual_kg_money(world.other_strain.species, FIRST_DAY) is None
    assert world.product.tax_ppm == 40_000
    assert usual_kg_money(world.species, FIRST_DAY) == 24_0400  # 5.00 / 0.2 / 1.04

    Price.objects.create(
        species=world.species,
        from_day=FIRST_DAY,
        pack_money=5 * UNIT,
        weight_unit="lb",
        tax_included=False,
    )
    assert usual_kg_money(world.species, FIRST_DAY) == 11_0200  # 5.00 / 0.45359237
