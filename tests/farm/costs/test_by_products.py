"""Spent blocks that are kept, and clones, share cost by what they are stated to be worth."""

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.cultures import Worth, clone_culture
from farm.actions.growing.harvesting import keep_spent, mark_spent, pick
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.storing import dry, throw_away
from farm.models import Grade, Stage
from farm.queries.costs.kilos import kilos_from
from farm.queries.months.yields import block_counts
from farm.queries.stock import lot_by_code
from farm.queries.tracing.labels import labels_of
from ledger.errors import Malformed
from ledger.models import Charge, Edge, Lot
from ledger.tracing import ancestors
from tests.farm.filled import send, text
from tests.farm.goods import crop, materials
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    World,
    assert_book_is_sound,
    fresh,
    fruiting,
    picked,
    small_farm,
)

pytestmark = pytest.mark.django_db


def kept(world: World, kept_mg: int = 40 * KG) -> tuple[Lot, Lot, Lot]:
    """40 blocks, 12 kg picked at 10.00 a kilo; spent blocks kept that are worth 6.00."""
    firsts = picked(world, 12 * KG)
    blocks = Lot.objects.get(card__stage=Stage.BLOCKS)
    spent = keep_spent(
        world.doing(), lot=blocks, worth_money=6 * UNIT, crop_kg_money=10 * UNIT, kept_mg=kept_mg
    ).lots[-1]
    return blocks, firsts, spent


def test_spent_blocks_share_all_cost_with_the_crop_by_worth(world: World) -> None:
    blocks, firsts, spent = kept(world)
    before = fresh(blocks)
    whole = sum(before.cost) + sum(fresh(firsts).cost) + sum(fresh(spent).cost)
    world.wait(5)
    entry = mark_spent(world.doing(), lot=before).entry
    pick_alone = Charge.objects.get(entry=firsts.made_by, kind="own").amount
    whole += Charge.objects.get(entry=entry).amount  # the room of the last wait

    # 6.00 is worth 0.6 kg of crop: 0.6 of 12.6 kg, rounded kind by kind; the labour of the pick
    # stays with the pick.
    assert sum(fresh(spent).cost) == pytest.approx((whole - pick_alone) * 0.6 / 12.6, abs=5)
    assert sum(fresh(spent).cost) + sum(fresh(firsts).cost) == whole
    assert sum(fresh(blocks).cost) == 0
    assert_book_is_sound()


def test_until_they_are_spent_the_crop_to_come_keeps_its_part(world: World) -> None:
    blocks, _, spent = kept(world)

    assert 0 < sum(fresh(spent).cost) < sum(fresh(blocks).cost)
    assert fresh(blocks).shares_open
    assert_book_is_sound()


def test_kept_spent_blocks_are_no_yield_and_no_kilo(world: World) -> None:
    blocks, firsts, _ = kept(world)
    mark_spent(world.doing(), lot=fresh(blocks))

    (lot,) = [lot_by_code(firsts.code)]
    assert lot
    assert kilos_from(lot).fresh[0].mass_mg == 12 * KG
    assert block_counts([blocks.pk])[blocks.pk] == (40, 40)


def test_kept_spent_blocks_are_traced_and_labelled(world: World) -> None:
    blocks, _, spent = kept(world)
    lot = lot_by_code(spent.code)
    assert lot
    (label,) = labels_of([lot], world.farm)

    assert blocks.pk in ancestors([spent.pk])
    assert Edge.objects.get(src=blocks, dst=spent).part == 40 * KG
    assert (label.title, label.wording) == ("Spent blocks", ())


def test_kept_spent_blocks_weigh_what_is_left_where_they_are_not_weighed(world: World) -> None:
    blocks, _, spent = kept(world, kept_mg=0)
    assert blocks.unit_mass_mg

    assert fresh(spent).quantity == 40 * blocks.unit_mass_mg - 12 * KG


def test_kept_spent_blocks_are_sold_and_thrown_away(world: World) -> None:
    _, _, spent = kept(world)
    sell(world.doing(), place=world.stall, lines=[SoldLine(spent, 10 * KG, UNIT)])
    throw_away(world.doing(reason="mouldy"), lot=spent, quantity=30 * KG)

    assert (fresh(spent).quantity, sum(fresh(spent).cost)) == (0, 0)
    assert_book_is_sound()


def test_undoing_the_keeping_gives_the_picks_their_cost_back(world: World) -> None:
    blocks, _, spent = kept(world)
    undo(world.doing(reason="not kept"), spent.made_by)
    mark_spent(world.doing(), lot=fresh(blocks))

    assert sum(fresh(spent).cost) == 0
    assert_book_is_sound()


def test_it_refuses_to_keep_blocks_that_were_never_picked(world: World) -> None:
    with pytest.raises(Malformed, match="was never picked"):
        keep_spent(world.doing(), lot=fruiting(world), worth_money=UNIT, crop_kg_money=UNIT)


@pytest.mark.parametrize(("worth", "kilo"), [(0, UNIT), (UNIT, 0)])
def test_it_refuses_to_share_by_a_worth_of_nothing(world: World, worth: int, kilo: int) -> None:
    picked(world)
    blocks = Lot.objects.get(card__stage=Stage.BLOCKS)

    with pytest.raises(Malformed, match="worth of nothing"):
        keep_spent(world.doing(), lot=blocks, worth_money=worth, crop_kg_money=kilo)


def test_it_asks_about_more_than_the_blocks_weigh(world: World) -> None:
    with pytest.raises(PlausibilityQuestion, match="other unit"):
        kept(world, kept_mg=400 * KG)


def test_the_form_keeps_spent_blocks(owner: Client) -> None:
    world = small_farm()
    picked(world)
    blocks = Lot.objects.get(card__stage=Stage.BLOCKS)
    sent = send(
        owner,
        "/record/keep-spent-blocks/",
        lot_list=blocks.code,
        worth_money="6",
        crop_kg_money="10",
    )

    assert sent.status_code == 302, text(sent)
    assert Lot.objects.get(card__stage=Stage.SPENT).quantity > 0


# --- clones, and what is dried together ------------------------------------------------------


def cloneable(world: World) -> Lot:
    lot = crop(world)
    lot.card.strain = world.strain
    lot.card.save()
    return lot


def test_a_clone_takes_cost_by_the_weight_of_the_piece(world: World) -> None:
    source = cloneable(world)
    made = clone_culture(world.doing(), source=source, piece_mg=5 * GRAM, portions=6).lots[-1]

    assert fresh(made).materials == 250  # 5 g of 10 kg at 50.0000


def test_a_clone_of_a_stated_worth_takes_its_part_against_what_stays(world: World) -> None:
    source = cloneable(world)
    made = clone_culture(
        world.doing(),
        source=source,
        piece_mg=5 * GRAM,
        portions=6,
        worth=Worth(25 * UNIT, 10 * UNIT),
    ).lots[-1]

    # Worth as much as 2.5 kg, against 9.995 kg that stay: 50.0000 x 2.5 / 12.495 = 10.0040...
    assert fresh(made).materials == 100_040
    assert fresh(source).materials == 500_000 - 100_040
    assert fresh(source).quantity == 10 * KG - 5 * GRAM
    assert_book_is_sound()


def test_the_form_of_a_clone_wants_both_worths_or_none(owner: Client) -> None:
    world = small_farm()
    source = cloneable(world)
    said = {"source_list": source.code, "piece_mg": "5 g", "portions": "6", "worth_money": "25"}

    assert "State both worths" in text(send(owner, "/record/clone-culture/", **said))
    assert send(owner, "/record/clone-culture/", **said, crop_kg_money="10").status_code == 302


def test_grades_dried_together_give_their_cost_by_weight(world: World) -> None:
    blocks = fruiting(world)
    lots = pick(
        world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=6 * KG, seconds_mg=4 * KG
    ).lots[1:]
    seconds = next(lot for lot in lots if lot.card.grade == Grade.SECONDS)
    whole = fresh(seconds).materials
    made = dry(
        world.doing(sure=True),
        draws=[Draw(lots[0], 3 * KG), Draw(seconds, 2 * KG)],
        dried_mg=500 * GRAM,
        temperature_milli_c=50_000,
        minutes_drying=600,
    )

    assert materials(made, seconds, "used") == whole // 2  # type: ignore[arg-type]
    assert_book_is_sound()
