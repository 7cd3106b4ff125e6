"""Undo restores every figure; a correction stands where the mistake stands; money follows."""

import pytest

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import correct_quantity, undo, undo_with_dependants
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import throw_away, weigh_again
from farm.models import SaleLine, SellingCost, StallDay
from ledger.errors import Malformed, NotEnough, NotStanding
from ledger.models import Entry, Lot, Role
from tests.farm.goods import a_day, costs, crop, figures, materials, money, on_hand, packs
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

POUND_12_4_MG = 5_624_545  # 12.4 lb


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def sale_of(world: World, lot: Lot, quantity: int, price: int = 5 * UNIT) -> Entry:
    return sell(
        world.doing(minutes=60),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, quantity, price)],
    ).entry


def picked_from(world: World, blocks: Lot) -> Lot:
    return fresh(pick(world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=10 * KG).lots[-1])


def line_of(entry: Entry) -> SaleLine:
    return SaleLine.objects.get(line__entry=entry)


def gross_total() -> int:
    return sum(SaleLine.objects.values_list("gross", flat=True))


def cost_total() -> int:
    return sum(SellingCost.objects.values_list("amount", flat=True))


def settled_stall(world: World, lot: Lot) -> tuple[StallDay, Entry]:
    """Took 40, brought back 9."""
    load = load_stall(
        world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, 40)]
    ).entry
    stall_day = StallDay.objects.get(entry=load)
    settled = settle_stall(
        world.doing(), stall_day=stall_day, brought_back={lot.pk: 9}, prices={}
    ).entry
    return stall_day, settled


# --- undo ------------------------------------------------------------------------------------


def test_an_undone_packing_restores_lots_costs_and_edges(world: World) -> None:
    lot = crop(world)
    world.received("punnet", 40)
    before = figures()
    packing = pack(world.doing(), product=world.product, packs=40, draws=[Draw(lot, 8 * KG)])

    undo(world.doing(), packing.entry)

    assert figures() == before
    assert_book_is_sound()


def test_an_undone_sale_restores_figures_and_money_sums_to_nothing(world: World) -> None:
    lot = packs(world)
    before = figures()

    undo(world.doing(), sale_of(world, lot, 10))

    assert figures() == before
    assert (gross_total(), cost_total()) == (0, 0)
    assert_book_is_sound()


def test_the_money_given_back_stands_at_the_reversals_own_line(world: World) -> None:
    back = undo(world.doing(), sale_of(world, packs(world), 10)).entry

    # 10 at 5.00 with 4 % within: 48.08 and 1.92.
    assert money(back) == [(-480_800, -19_200, -500_000)]
    assert costs(back) == {"hours": -18 * UNIT}


def test_an_undone_return_is_sold_again(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    before = figures(), gross_total()
    back = take_back(world.doing(), sale_line=line_of(sale), quantity=4)

    undo(world.doing(), back.entry)

    assert (figures(), gross_total()) == before


def test_a_correction_is_undone_with_what_it_corrects(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=8)

    undo(world.doing(), sale)

    assert (on_hand(lot), gross_total()) == (40, 0)


def test_a_correction_is_not_undone_alone(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    fix = correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=8)

    with pytest.raises(Malformed, match=f"correction of entry {sale.seq} .*Correct that entry"):
        undo(world.doing(), fix.entry)


def test_nothing_is_undone_twice(world: World) -> None:
    sale = sale_of(world, packs(world), 10)
    undo(world.doing(), sale)

    with pytest.raises(NotStanding, match=f"Entry {sale.seq}"):
        undo(world.doing(), sale)


def test_an_undo_sent_twice_gives_money_back_once(world: World) -> None:
    sale, doing = sale_of(world, packs(world), 10), world.doing()

    first, second = undo(doing, sale), undo(doing, sale)

    assert (first.entry, first.fresh, second.fresh) == (second.entry, True, False)
    assert (gross_total(), SaleLine.objects.count()) == (0, 2)


def test_a_load_is_undone_where_nothing_was_sold_from_it(world: World) -> None:
    lot = packs(world)
    load = load_stall(world.doing(), place=world.stall, day=a_day(world), lines=[Draw(lot, 40)])

    assert undo(world.doing(), load.entry).fresh


def test_a_settled_load_stays_until_its_settling_is_taken_back(world: World) -> None:
    stall_day, settled = settled_stall(world, packs(world))

    with pytest.raises(NotEnough, match=f"settled by entry {settled.seq}. Take that") as refusal:
        undo(world.doing(), stall_day.entry)
    assert refusal.value.dependants == (settled.seq,)

    undo(world.doing(), settled)
    assert undo(world.doing(), stall_day.entry).fresh


def test_an_undone_settling_restores_figures_and_costs(world: World) -> None:
    lot = packs(world)
    before = figures()

    _, settled = settled_stall(world, lot)
    undo(world.doing(), settled)

    assert figures() == before
    assert (gross_total(), cost_total()) == (0, 0)
    assert_book_is_sound()


# --- dependants ------------------------------------------------------------------------------


def test_dependants_are_named_newest_first(world: World) -> None:
    lot = picked(world)
    weighing = weigh_again(world.doing(), lot=lot, weight_mg=9_900 * GRAM).entry
    sale = sale_of(world, lot, KG)

    with pytest.raises(NotEnough, match=lot.code) as refusal:
        undo(world.doing(), lot.made_by)
    assert refusal.value.dependants == (sale.seq, weighing.seq)


def test_dependants_are_taken_back_too_newest_first(world: World) -> None:
    blocks = fruiting(world)
    world.wait(9)
    before = figures()
    lot = picked_from(world, blocks)
    weighing = weigh_again(world.doing(), lot=lot, weight_mg=9_900 * GRAM).entry
    sale = sale_of(world, lot, KG)

    undone = undo_with_dependants(world.doing(), lot.made_by)

    assert [done.entry.amends for done in undone] == [sale, weighing, lot.made_by]
    assert (figures(), gross_total()) == (before, 0)
    assert_book_is_sound()


def test_what_stands_on_nothing_is_undone_alone(world: World) -> None:
    lot = crop(world)
    sale_of(world, lot, KG)
    bin_entry = throw_away(world.doing(reason="old"), lot=lot, quantity=KG).entry

    assert len(undo_with_dependants(world.doing(), bin_entry)) == 1


def test_a_return_depends_on_its_sale(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)
    back = take_back(world.doing(), sale_line=line_of(sale), quantity=4).entry

    undone = undo_with_dependants(world.doing(), sale)

    assert [done.entry.amends for done in undone] == [back, sale]
    assert (on_hand(lot), gross_total()) == (40, 0)


def test_a_settled_load_is_undone_with_its_settling(world: World) -> None:
    stall_day, settled = settled_stall(world, packs(world))

    undone = undo_with_dependants(world.doing(), stall_day.entry)

    assert [done.entry.amends for done in undone] == [settled, stall_day.entry]


def test_undoing_with_dependants_sent_twice_changes_nothing_more(world: World) -> None:
    sale = sale_of(world, packs(world), 10)
    take_back(world.doing(), sale_line=line_of(sale), quantity=4)
    doing = world.doing()

    undo_with_dependants(doing, sale)
    count = Entry.objects.count()
    again = undo_with_dependants(doing, sale)

    assert (again[-1].fresh, Entry.objects.count()) == (False, count)


# --- correcting ------------------------------------------------------------------------------


def test_pounds_typed_as_kilograms_make_later_sales_carry_more(world: World) -> None:
    lot = crop(world, 12_400 * GRAM, money=62 * UNIT)
    sale = sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(lot, 3 * KG, UNIT)],
    )

    correct_quantity(
        world.doing(), lot.made_by, lot=lot, role=Role.BOUGHT, right_quantity=5_624 * GRAM
    )

    # 3 of 5.624 kg at 62.0000 instead of 3 of 12.4.
    assert materials(sale, lot, Role.SOLD) == 330_725
    assert fresh(lot).materials == 289_275
    assert_book_is_sound()


def test_a_pick_is_corrected_and_goes_on_sharing_by_weight(world: World) -> None:
    lot = picked(world, 12_400 * GRAM)

    correct_quantity(
        world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=POUND_12_4_MG
    )

    assert on_hand(lot) == POUND_12_4_MG
    assert sum(lot.lines.values_list("basis", flat=True)) == POUND_12_4_MG
    assert_book_is_sound()


def test_what_was_paid_is_corrected_with_the_quantity(world: World) -> None:
    lot = crop(world)

    correct_quantity(
        world.doing(),
        lot.made_by,
        lot=lot,
        role=Role.BOUGHT,
        right_quantity=8 * KG,
        right_money=44 * UNIT,
    )

    assert (on_hand(lot), fresh(lot).materials) == (8 * KG, 44 * UNIT)


def test_a_corrected_sale_comes_to_its_price_times_the_right_quantity(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 31, 45_000)

    fix = correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=30)

    # 139.50 gross is 134.13 net; 135.00 is 129.81 (129.8077): -4.50 and -4.32.
    assert money(fix.entry) == [(-43_200, -1_800, -45_000)]
    assert (on_hand(lot), gross_total()) == (10, 135 * UNIT)


def test_the_money_asked_for_a_sale_is_corrected_alone(world: World) -> None:
    lot = packs(world)
    sale = sale_of(world, lot, 10)

    correct_quantity(
        world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=10, right_money=45 * UNIT
    )

    assert (on_hand(lot), gross_total()) == (30, 45 * UNIT)


def test_no_more_is_sold_from_a_load_than_was_loaded(world: World) -> None:
    lot = packs(world, 60)
    _, settled = settled_stall(world, lot)

    with pytest.raises(Malformed, match=f"{lot.code}: 40 pieces loaded, 41 pieces sold"):
        correct_quantity(world.doing(), settled, lot=lot, role=Role.SOLD, right_quantity=41)
    correct_quantity(world.doing(), settled, lot=lot, role=Role.SOLD, right_quantity=40)
    assert on_hand(lot) == 20


def test_the_share_of_takings_follows_a_corrected_sale(world: World) -> None:
    world.kitchens.fee_ppm = 60_000
    world.kitchens.save()
    lot = packs(world)
    sale = sale_of(world, lot, 10)

    fix = correct_quantity(world.doing(), sale, lot=lot, role=Role.SOLD, right_quantity=8)

    # 6 % of -10.00.
    assert costs(fix.entry) == {"share of takings": -6_000}


def test_a_correction_sent_twice_counts_once(world: World) -> None:
    lot = packs(world)
    sale, doing = sale_of(world, lot, 10), world.doing()

    for _ in range(2):
        correct_quantity(doing, sale, lot=lot, role=Role.SOLD, right_quantity=8)

    assert (on_hand(lot), gross_total()) == (32, 40 * UNIT)


def test_it_refuses_a_correction_that_later_entries_cannot_bear(world: World) -> None:
    lot = crop(world)
    sale_of(world, lot, 9 * KG)

    with pytest.raises(NotEnough, match=lot.code):
        correct_quantity(
            world.doing(), lot.made_by, lot=lot, role=Role.BOUGHT, right_quantity=8 * KG
        )


def test_it_refuses_a_correction_that_changes_nothing(world: World) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code}: entry .* says 10.00 kg"):
        correct_quantity(
            world.doing(), lot.made_by, lot=lot, role=Role.BOUGHT, right_quantity=10 * KG
        )


def test_it_refuses_to_correct_what_the_entry_does_not_say(world: World) -> None:
    lot = crop(world)

    with pytest.raises(Malformed, match=f"{lot.code} was not sold at entry {lot.made_by_id}"):
        correct_quantity(world.doing(), lot.made_by, lot=lot, role=Role.SOLD, right_quantity=1)
