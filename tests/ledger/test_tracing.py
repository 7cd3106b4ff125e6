"""Back to sources and forward to uses, whole and by quantity."""

from collections.abc import Callable
from itertools import combinations, permutations

import pytest
from django.db import connection
from pytest_django import DjangoAssertNumQueries

from ledger import tracing
from ledger.drafts import NewLot
from ledger.models import Edge, Entry, Lot, Role
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    bought,
    bought_blocks,
    buys,
    item,
    line,
    loses,
    made_of,
    makes,
    new,
    pick,
    pieces,
    put,
    returned,
    sold,
    spent,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


def mixed(*lots: Lot, name: str = "mix", take: int = KG // 2) -> Lot:
    made = makes(new(name), take * len(lots))
    return put(*(uses(lot, take) for lot in lots), made).lots[-1]


def ladder(levels: int) -> tuple[Lot, Lot]:
    """Mix two bins over and over: the paths from top to bottom double with every level."""
    first, second = bought(KG, UNIT), bought(KG, UNIT)
    top = first
    for _ in range(levels):
        first, second = mixed(first, second), mixed(first, second)
    return top, first


def total(carried: tracing.Carried) -> int:
    return sum(sum(d.values()) for d in (carried.on_hand, carried.sold, carried.lost))


def test_a_lot_is_traced_back_to_its_sources_and_forward_to_its_uses() -> None:
    grain, culture, other = bought(KG, 1), bought(KG, 1, "culture"), bought(KG, 1)
    spawn = mixed(grain, culture)
    crop = made_of(spawn, KG, new("crop"), KG)
    assert {grain.pk, culture.pk, spawn.pk, crop.pk} == tracing.ancestors([crop.pk])
    assert {grain.pk, spawn.pk, crop.pk} == tracing.descendants([grain.pk])
    assert {other.pk} == tracing.descendants([other.pk])
    assert set() == tracing.ancestors([])


def test_what_is_ahead_of_some_is_cut_out_of_what_is_ahead_of_many() -> None:
    # The spawn keeps all that went into it, the culture too; the mix of the other lot goes.
    grain, culture, other = bought(KG, 1), bought(KG, 1, "culture"), bought(KG, 1)
    spawn = mixed(grain, culture)
    made_of(other, KG, new("mix"), KG)
    crop = made_of(spawn, KG, new("crop"), KG)
    kin = tracing.within(tracing.ahead([other.pk, grain.pk]), [grain.pk])
    assert {grain.pk: 1, spawn.pk: 4, crop.pk: 6} == kin.born_at
    assert [(edge.entry, edge.src, edge.dst) for edge in kin.edges] == [
        (4, grain.pk, spawn.pk),
        (4, culture.pk, spawn.pk),
        (6, spawn.pk, crop.pk),
    ]


def test_what_was_taken_back_is_not_reached() -> None:
    grain = bought(KG, 1)
    spawn = made_of(grain, KG, new("spawn"), KG)
    undo(spawn.made_by)
    assert {grain.pk} == tracing.descendants([grain.pk])


def test_a_lot_with_one_bad_input_of_two_alike_is_possible() -> None:
    bad, good = bought(KG, 1), bought(KG, 1)
    mix = mixed(bad, good)
    found = tracing.reach([bad.pk])
    assert found.lots == (bad.pk, mix.pk)
    assert found.certain == {bad.pk}


def test_a_lot_with_a_bad_input_of_a_kind_of_its_own_is_certain() -> None:
    bad, good = bought(KG, 1), bought(KG, 1, "culture")
    mix = mixed(bad, good)
    assert {bad.pk, mix.pk} == tracing.reach([bad.pk]).certain


def test_a_lot_is_certain_when_all_inputs_of_a_kind_are_suspects() -> None:
    bad, also_bad, good = bought(KG, 1), bought(KG, 1), bought(KG, 1, "culture")
    mix = mixed(bad, also_bad, good)
    assert {bad.pk, also_bad.pk, mix.pk} == tracing.reach([bad.pk, also_bad.pk]).certain


def jar_of_three() -> tuple[Lot, tuple[Lot, ...]]:
    """167 g of firsts, 552 g and 376 g of seconds, dried together to 109 g."""
    item("firsts", alike="crop"), item("seconds", alike="crop")
    weights = (("firsts", 167_000), ("seconds", 552_000), ("seconds", 376_000))
    crates = [bought(mg, mg, name) for name, mg in weights]
    drawn = [uses(lot, mg) for lot, (_, mg) in zip(crates, weights, strict=True)]
    jar = put(*drawn, makes(new("dried"), 109_000)).lots[-1]
    return jar, tuple(crates)


def test_a_jar_of_two_grades_is_possible_of_each_and_certain_of_all_three() -> None:
    jar, crates = jar_of_three()
    for some in (*((one,) for one in crates), *combinations(crates, 2)):
        found = tracing.reach([lot.pk for lot in some])
        assert jar.pk in found.lots
        assert found.certain == {lot.pk for lot in some}
    assert jar.pk in tracing.reach([lot.pk for lot in crates]).certain


def test_the_part_of_a_jar_is_shared_over_the_grades_in_it() -> None:
    # 109,000 mg x 167/1095 = 16,623.7, x 552/1095 = 54,947.9, x 376/1095 = 37,428.3; the 2 mg left
    # over go to the largest remainders.
    jar, crates = jar_of_three()
    parts = [Edge.objects.get(src=lot, dst=jar).part for lot in crates]
    assert parts == [16_624, 54_948, 37_428]
    assert sum(parts) == 109_000


def test_packs_and_loose_crop_share_a_jar_by_weight() -> None:
    # 2 packs of 200 g and 600 g loose: 400 and 600 parts of a thousand.
    item("loose", alike="crop"), item("pack", "count", alike="crop")
    loose = bought(600_000, 6, "loose")
    pack = put(buys(NewLot(item("pack"), unit_mass_mg=200_000), 2, 4)).lots[0]
    jar = put(uses(loose, 600_000), uses(pack, 2), makes(new("dried"), 100_000)).lots[-1]
    assert [Edge.objects.get(src=lot, dst=jar).part for lot in (loose, pack)] == [60_000, 40_000]


def test_what_goes_by_no_word_stands_in_only_for_itself() -> None:
    bad, good = bought(KG, 1, "rye"), bought(KG, 1, "oats")
    mix = mixed(bad, good)
    assert mix.pk in tracing.reach([bad.pk]).certain


def test_what_is_made_of_a_possible_lot_is_possible() -> None:
    bad, good = bought(KG, 1), bought(KG, 1)
    crop = made_of(mixed(bad, good), KG, new("crop"), KG)
    found = tracing.reach([bad.pk])
    assert crop.pk in found.lots
    assert crop.pk not in found.certain


def test_a_quantity_followed_forward_adds_up_to_the_whole() -> None:
    # 1 kg of grain, half of it in a mix of 1 kg: sold 100 g holds 50 g, lost 200 g holds 100 g.
    grain, other = bought(KG, 7), bought(KG, 7)
    mix = mixed(grain, other)
    sale, loss = sold(mix, 100_000), put(loses(mix, 200_000)).entry
    carried = tracing.follow(grain.pk)
    assert {grain.pk: 500_000, mix.pk: 350_000} == carried.on_hand
    assert {(mix.pk, sale.seq): 50_000} == carried.sold
    assert {(mix.pk, loss.seq): 100_000} == carried.lost
    assert KG == carried.total == total(carried)


def test_a_quantity_followed_through_picks_losses_and_returns_adds_up() -> None:
    grain = bought(KG + 1, 7)
    blocks = made_of(grain, KG, pieces(), 7, planned_loss_ppm=200_000)
    put(loses(blocks, 2))
    first, second = pick(blocks, 300_001, 99_999), pick(blocks, 77_777, 0)
    sale = sold(first, 300_000)
    returned(sale, 33_333)
    made_of(second, 5_000, new("dried"), 500)
    spent(blocks, 5)
    carried = tracing.follow(grain.pk)
    assert KG + 1 == carried.total == total(carried)


def test_it_says_how_much_of_each_source_is_behind_a_lot() -> None:
    # The crop is half of the mix; the mix holds half a kilo of each.
    grain, other = bought(KG, 7), bought(2 * KG, 7)
    crop = made_of(mixed(grain, other), KG // 2, new("crop"), 100)
    mix = crop.made_by.edges.get().src
    behind = tracing.composition(crop.pk)
    assert {grain.pk: 250_000, other.pk: 250_000, mix.pk: 500_000, crop.pk: 100} == behind


def test_a_pick_holds_its_weight_s_part_of_the_block() -> None:
    # 500 g of the 500 + 150 picked: 1 kg * 500 / 650 = 769,230 mg of the grain.
    grain = bought(KG, 7)
    block = made_of(grain, KG, pieces(), 1)
    first = pick(block, 500_000, 200_000)
    pick(block, 150_000, 0)
    assert tracing.composition(first.pk)[grain.pk] == 769_230


def test_a_by_product_holds_its_weight_s_part_whatever_it_is_worth() -> None:
    # 300 g of the 1,000 that 40 blocks give are 12 of them, 500 g are 20; 8 are still to be picked.
    blocks = bought_blocks(40, UNIT)
    takes = line(blocks, Role.USED, 0, given_mg=300, later_mg=700, worth=5)
    trim = put(takes, makes(new("trim"), 300)).lots[1]
    crop = pick(blocks, 500, 200)
    assert {blocks.pk: 8, trim.pk: 12, crop.pk: 20} == tracing.follow(blocks.pk).on_hand
    assert [tracing.composition(lot.pk)[blocks.pk] for lot in (trim, crop)] == [12, 20]


def test_thirty_one_pieces_out_of_1_200_are_thirty_one_behind_what_holds_them() -> None:
    """31/1,200 has no exact decimal: rounded down twice it came to 30."""
    punnets = bought_blocks(1_200, UNIT)
    packs = made_of(punnets, 31, pieces("pack"), 31)

    assert tracing.composition(packs.pk)[punnets.pk] == 31


def test_a_blending_ladder_of_thirty_levels_is_walked_lot_by_lot(
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    # Two to the thirtieth paths lead from top to bottom; 61 lots are below the top.
    top, bottom = ladder(30)
    with django_assert_max_num_queries(16):
        assert len(tracing.reach([top.pk]).lots) == 61
        assert total(tracing.follow(top.pk)) == KG
        behind = tracing.composition(bottom.pk)
    # Every level halves and mixes, so half of each top lot arrives, less what is rounded down.
    assert KG // 2 - 1 <= behind[top.pk] <= KG // 2


def test_an_amendment_moves_the_edge() -> None:
    grain = bought(KG, 7)
    mix = made_of(grain, KG // 2, new("mix"), KG)
    amend(mix.made_by, uses(grain, KG // 4))
    assert Edge.objects.get(src=grain, dst=mix).quantity == 3 * KG // 4


def test_quantities_over_several_outputs_add_up_on_their_edges() -> None:
    grain, other = bought(KG, 7), bought(KG, 7)
    put(uses(grain, 7), uses(other, 4), makes(new("a"), 3), makes(new("b"), 5))
    assert [
        sum(Edge.objects.filter(src=lot).values_list("quantity", flat=True))
        for lot in (grain, other)
    ] == [7, 4]
    parts = [
        sum(Edge.objects.filter(dst__item__name=n).values_list("part", flat=True))
        for n in ("a", "b")
    ]
    assert parts == [3, 5]


def plan(statement: str) -> str:
    """How the database would walk the edges from two lots."""
    explain = {"sqlite": "EXPLAIN QUERY PLAN ", "postgresql": "EXPLAIN "}[connection.vendor]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # on few rows it would read the whole table
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_hashjoin = off")
            cursor.execute("SET LOCAL enable_mergejoin = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
        cursor.execute(explain + statement.replace("{marks}", "1, 2"))
        return "\n".join(str(row) for row in cursor.fetchall())


def fan() -> None:
    """Make enough edges for the planner to care."""
    for _ in range(12):
        put(uses(bought(KG, 7), 1), *(makes(new(str(k)), 1) for k in range(10)))
    if connection.vendor == "postgresql":  # which cares later: every lot into every other
        first, lots = Entry.objects.earliest("seq"), Lot.objects.values_list("pk", flat=True)
        Edge.objects.bulk_create(
            Edge(src_id=src, dst_id=dst, entry=first, quantity=1, part=1)
            for src, dst in permutations(lots, 2)
        )


# SQLite names the index of a unique constraint itself.
_FORWARD_INDEX = {"sqlite": "sqlite_autoindex_ledger_edge_1"}.get(
    connection.vendor, "ledger_edge_forward"
)


@pytest.mark.parametrize("analysed", [False, True])
@pytest.mark.parametrize(
    ("statement", "index"),
    [(tracing.FORWARD, _FORWARD_INDEX), (tracing.BACK, "ledger_edge_back")],
)
def test_the_walk_uses_the_edge_indices(statement: str, index: str, analysed: bool) -> None:
    if connection.vendor == "postgresql" and not analysed:
        pytest.skip("PostgreSQL plans by what it last counted, which it does whenever it likes")
    fan()
    if analysed:
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    steps = plan(statement)
    assert index in steps
    assert "AUTOMATIC" not in steps
    assert "BLOOM FILTER" not in steps
    if connection.vendor == "sqlite":  # the table itself is never looked into
        assert f"COVERING INDEX {index}" in steps


@pytest.mark.parametrize("walk", [tracing.ancestors, tracing.descendants])
def test_a_walk_is_one_query(
    walk: Callable[[list[int]], set[int]], django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    _, bottom = ladder(3)
    with django_assert_num_queries(1):
        walk([bottom.pk])


def test_blocks_picked_apart_are_alternatives() -> None:
    bad, good = bought_blocks(1, 1), bought_blocks(1, 1)
    bad_crop, good_crop = pick(bad, 500, 0), pick(good, 500, 0)
    pack = mixed(bad_crop, good_crop, take=250)
    found = tracing.reach([bad.pk])
    assert {bad.pk, bad_crop.pk} == found.certain
    assert (bad.pk, bad_crop.pk, pack.pk) == found.lots
