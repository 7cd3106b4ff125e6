"""How far suspects reach: the right customers and no other, what is here, each balance."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from random import Random
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from farm.actions.common import Draw
from farm.actions.growing.blocks import inoculate_blocks, move_to_fruiting
from farm.actions.growing.harvesting import pick
from farm.actions.recording.correcting import undo
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry
from farm.models import Customer, Placing, Sale, Stage, StallDay
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.suspects import (
    Suspects,
    runs_kept,
    suspect_culture,
    suspect_lots,
    suspect_place,
    suspect_run,
    suspect_supplier_lot,
)
from farm.reports.tracing.reach_rows import reach_report
from ledger import waiting
from ledger.models import Entry, Line, Lot, Role
from ledger.tracing import ancestors
from tests.farm.season import MADE, MARKET_DAY, Season, season
from tests.farm.world import (
    GRAM,
    KG,
    UNIT,
    World,
    filled_bags,
    fresh,
    fruiting,
    grow_spawn,
    small_farm,
)

pytestmark = pytest.mark.django_db


def reached(*lots: Lot) -> Reach:
    return reach_of(suspect_lots(lots))


def customers_of(found: Reach) -> set[str]:
    keys = [one.customer_id for one in found.recipients]
    return set(Customer.objects.filter(pk__in=keys).values_list("name", flat=True))


# --- a planted bad lot, against another way of working it out ---------------------------------


@pytest.fixture
def two_chains() -> tuple[World, dict[str, Lot]]:
    """Two sacks of bran's worth of blocks; Anchor has packs of one, Bell of both, Cook of other."""
    world = small_farm()
    lots = {"one": fruiting(world, 10), "other": fruiting(world, 10)}
    for name in ("one", "other"):
        doing = replace(world.doing(), sure=True)
        lots[f"{name} pick"] = fresh(
            pick(doing, given=[Draw(lots[name], 0)], flush=1, firsts_mg=2 * KG).lots[-1]
        )
    one, other = lots["one pick"], lots["other pick"]
    world.received("punnet", 20)
    lots["one pack"] = packs_of(world, Draw(one, KG))
    lots["mixed"] = packs_of(world, Draw(fresh(one), KG), Draw(other, KG))
    lots["other pack"] = packs_of(world, Draw(fresh(other), KG))
    for name, who in (("one pack", "Anchor"), ("mixed", "Bell"), ("other pack", "Cook")):
        customer = Customer.objects.create(name=who, place=world.kitchens)
        sell(world.doing(), place=world.kitchens, customer=customer,
             lines=[SoldLine(lots[name], 2, 4 * UNIT)])  # fmt: skip
    return world, lots


def packs_of(world: World, *draws: Draw) -> Lot:
    count = sum(draw.quantity for draw in draws) // (200 * GRAM)
    return fresh(pack(world.doing(), product=world.product, packs=count, draws=draws).lots[-1])


def test_a_bad_lot_finds_its_customers_and_no_other(
    two_chains: tuple[World, dict[str, Lot]],
) -> None:
    _, lots = two_chains

    assert customers_of(reached(lots["one"])) == {"Anchor", "Bell"}
    assert customers_of(reached(lots["other"])) == {"Bell", "Cook"}
    assert customers_of(reached(lots["mixed"])) == {"Bell"}


def test_a_mixed_lot_counts_whole_and_is_possible(
    two_chains: tuple[World, dict[str, Lot]],
) -> None:
    bell = next(one for one in reached(two_chains[1]["one"]).recipients if one.possible_mg)

    # 2 packs of 200 g, though half of what is in them is of the other blocks.
    assert (bell.certain_mg, bell.possible_mg) == (0, 400 * GRAM)


def test_both_halves_suspect_make_the_mixed_lot_certain(
    two_chains: tuple[World, dict[str, Lot]],
) -> None:
    lots = two_chains[1]
    found = reached(lots["one"], lots["other"])

    assert customers_of(found) == {"Anchor", "Bell", "Cook"}
    assert all(one.possible_mg == 0 for one in found.recipients)


def test_any_suspects_reach_what_a_plain_reading_of_the_lines_reaches(
    two_chains: tuple[World, dict[str, Lot]],
) -> None:
    keys = list(Lot.objects.order_by("pk").values_list("pk", flat=True))
    chance = Random(1)
    chosen = [[key] for key in keys] + [chance.sample(keys, 1 + at % 4) for at in range(30)]
    for suspects in chosen:
        found = reach_of(Suspects("some", tuple(suspects)))
        lots, sure = plainly_reached(set(suspects))

        assert {lot.code for lot in found.lots} == codes(lots), suspects
        assert {lot.code for lot in found.lots if lot.certain} == codes(sure), suspects
        assert {one.customer_id for one in found.recipients} == plainly_sold(lots), suspects


def plainly_reached(suspects: set[int]) -> tuple[set[int], set[int]]:
    """Read the lines entry by entry, without the worked edges: used lots are in made lots.

    Good for histories without corrections. Certain: all crop, all blocks, all spawn, or all lots
    of some supply that went in are certain.
    """
    lots, sure = set(suspects), set(suspects)
    for entry in Entry.objects.order_by("seq"):
        lines = list(entry.lines.select_related("lot"))
        made = {line.lot_id for line in lines if line.role == Role.MADE and line.quantity > 0}
        used: dict[str, set[int]] = defaultdict(set)
        for line in lines:
            if line.role == Role.USED and (line.quantity or line.given_mg):
                used[choice_of(line.lot)].add(line.lot_id)
        if any(sources & lots for sources in used.values()):
            lots |= made
        if any(sources <= sure for sources in used.values()):
            sure |= made
    return lots, sure


def choice_of(lot: Lot) -> str:
    """What a lot can stand in for: all crop, fresh, dried or packed; else what is of its stage."""
    stage = Stage(lot.card.stage)
    if stage == Stage.SUPPLY:
        return lot.item.name
    return "crop" if stage in (Stage.CROP, Stage.DRIED, Stage.PACKS) else stage.label


def plainly_sold(lots: set[int]) -> set[int]:
    lines = Line.objects.filter(lot__in=lots, role=Role.SOLD)
    entries = lines.values_list("entry_id", flat=True)
    sales = Sale.objects.filter(entry__in=entries, customer__isnull=False)
    return {sale.customer_id for sale in sales if sale.customer_id}


def codes(keys: set[int]) -> set[str]:
    return set(Lot.objects.filter(pk__in=keys).values_list("code", flat=True))


def test_forward_from_every_ancestor_returns_the_lot(
    two_chains: tuple[World, dict[str, Lot]],
) -> None:
    mixed = two_chains[1]["mixed"]
    for lot in Lot.objects.filter(pk__in=ancestors([mixed.pk])):
        assert mixed.code in {one.code for one in reached(lot).lots}, lot.code


def test_grades_dried_together_are_only_possible_and_all_of_them_certain() -> None:
    # The worked jar: 167 g of firsts, 552 g and 376 g of seconds.
    world = small_farm()
    first = pick(world.doing(sure=True), given=[Draw(fruiting(world, 10), 0)], flush=1,
                 firsts_mg=167 * GRAM, seconds_mg=552 * GRAM).lots  # fmt: skip
    other = pick(world.doing(sure=True), given=[Draw(fruiting(world, 10), 0)], flush=1,
                 firsts_mg=KG, seconds_mg=376 * GRAM).lots  # fmt: skip
    crates = [fresh(first[-2]), fresh(first[-1]), fresh(other[-1])]
    jar = dry(
        world.doing(sure=True), draws=[Draw(lot, lot.quantity) for lot in crates],
        dried_mg=120 * GRAM, temperature_milli_c=45_000, minutes_drying=600,
    ).lots[-1]  # fmt: skip

    def sure_of(*lots: Lot) -> bool:
        return next(lot.certain for lot in reached(*lots).lots if lot.code == jar.code)

    assert not any(sure_of(lot) for lot in crates)
    assert not any(sure_of(*pair) for pair in combinations(crates, 2))
    assert sure_of(*crates)


# --- other suspects ---------------------------------------------------------------------------


def test_a_steriliser_run_suspects_what_was_in_it() -> None:
    lots = season()
    bags_run, grain_run = runs_kept()

    assert suspect_run(grain_run).lots == (lots.grown.grain.pk,)
    assert suspect_run(bags_run).lots == (lots.grown.bags.pk,)
    assert customers_of(reach_of(suspect_run(grain_run))) == {"The Anchor"}


def test_an_undone_run_is_no_choice() -> None:
    lots = season(spent=False)
    world = lots.world
    bags = filled_bags(world, 2)
    undo(world.doing(), Entry.objects.filter(kind="steriliser run").last() or bags.made_by)

    assert runs_kept().count() == 2


def test_a_culture_reaches_all_that_was_made_of_it() -> None:
    lots = season()
    found = reach_of(suspect_culture(lots.grown.culture))

    assert {lots.packs.code, lots.dried.code} <= {lot.code for lot in found.lots}


def test_a_suppliers_lot_is_found_in_any_case_and_in_every_delivery() -> None:
    world = small_farm()
    one, other = world.received("rye", KG), world.received("rye", KG)
    world.received("sawdust", KG)

    assert suspect_supplier_lot(world.supplier, " RYE 26-31 ").lots == (one.pk, other.pk)
    assert suspect_supplier_lot(world.supplier, "rye").lots == ()


def test_a_room_suspects_what_stood_there_on_a_day_of_the_span() -> None:
    world = small_farm()
    blocks = fruiting(world, 4)
    came, left = (placing.entry.happened_on for placing in Placing.objects.order_by("pk"))
    incubation, day = world.shelf.room, timedelta(days=1)

    assert suspect_place(incubation, came, came).lots == (blocks.pk,)
    assert suspect_place(incubation, left, left + day).lots == (blocks.pk,)
    assert suspect_place(incubation, came - day, came - day).lots == ()
    assert suspect_place(incubation, left + day, left + 9 * day).lots == ()
    assert suspect_place(world.fruiting_shelf.room, left + day, left + 9 * day).lots == (blocks.pk,)


def test_what_was_used_up_stands_nowhere_afterwards() -> None:
    lots = season()
    gone = Entry.objects.get(kind="spent").happened_on
    shelf = lots.world.shelf.room

    assert suspect_place(shelf, gone, gone).lots == (lots.grown.blocks.pk,)
    assert suspect_place(shelf, gone + timedelta(days=1), date(2027, 1, 1)).lots == ()


# --- stalls -----------------------------------------------------------------------------------


def loaded(lots: Season) -> StallDay:
    world = lots.world
    draws = [Draw(fresh(lots.packs), 1)]
    entry = load_stall(world.doing(), place=world.stall, day=MARKET_DAY, lines=draws).entry
    return StallDay.objects.get(entry=entry)


def test_a_stall_is_listed_by_day_place_and_product() -> None:
    (row,) = reached(season().grown.grain).unnamed

    assert (row.day, row.place, row.name) == (MARKET_DAY, "Saturday market", "Oyster, 200 g")
    assert (row.loaded.pieces, row.sold.pieces, row.certain) == (10, 6, True)


def test_a_whole_load_brought_back_is_not_possible() -> None:
    lots = season()
    stall_day = loaded(lots)
    settle_stall(lots.world.doing(), stall_day=stall_day, brought_back={lots.packs.pk: 1},
                 prices={})  # fmt: skip

    assert len(reached(lots.packs).unnamed) == 1


def test_a_load_whose_settling_was_undone_is_possible_again() -> None:
    lots = season()
    stall_day = loaded(lots)
    settled = settle_stall(lots.world.doing(), stall_day=stall_day,
                           brought_back={lots.packs.pk: 1}, prices={})  # fmt: skip
    undo(lots.world.doing(), settled.entry)

    assert [row.settled for row in reached(lots.packs).unnamed] == [True, False]


def test_a_sale_without_a_name_or_a_load_is_listed_by_its_place() -> None:
    lots = season()
    world = lots.world
    lines = [SoldLine(fresh(lots.packs), 1, 4 * UNIT)]
    sell(world.doing(sure=True), place=world.kitchens, lines=lines)
    row = next(row for row in reached(lots.packs).unnamed if row.place == "Kitchens")

    assert (row.loaded.pieces, row.sold.pieces) == (None, 1)


# --- what came back, what waits ---------------------------------------------------------------


def test_what_came_back_is_taken_off_what_a_customer_holds() -> None:
    (anchor,) = reached(season().packs).recipients

    # 20 packs of 200 g, of which 2 came back.
    assert (anchor.certain_mg, anchor.back_mg) == (4_000 * GRAM, 400 * GRAM)
    assert anchor.kept_mg == 3_600 * GRAM


def test_all_that_came_back_leaves_the_customer_on_the_list_with_nothing() -> None:
    lots = season()
    line = lots.delivery.entry.sale.lines.get(line__role=Role.SOLD, line__lot=lots.packs)
    take_back(lots.world.doing(), sale_line=line, quantity=18)
    (anchor,) = reached(lots.packs).recipients

    assert anchor.kept_mg == 0


def test_an_undone_sale_leaves_nobody_to_call(two_chains: tuple[World, dict[str, Lot]]) -> None:
    world, lots = two_chains
    undo(world.doing(), Sale.objects.get(customer__name="Anchor").entry)

    assert customers_of(reached(lots["one"])) == {"Bell"}


def test_waiting_entries_about_reached_lots_are_counted() -> None:
    lots = season()
    waiting.keep(uuid4(), "sell", "{}", refusal="not yet", lots=[lots.packs.code], by=1)

    assert (reached(lots.grown.grain).waiting, reached(lots.seconds).waiting) == (1, 0)


# --- how much it asks -------------------------------------------------------------------------


def test_the_number_of_queries_does_not_grow_with_the_history() -> None:
    lots = season()
    before = asked(lots.grown.grain)
    for _ in range(2):
        line = SoldLine(fresh(lots.packs), 1, 4 * UNIT)
        sell(
            lots.world.doing(),
            place=lots.world.kitchens,
            customer=lots.world.customer,
            lines=[line],
        )
    more_blocks(lots)

    assert asked(lots.grown.grain) == before


def more_blocks(lots: Season) -> None:
    """Blocks of other spawn, picked into the fridge: more lots, more placings."""
    world = lots.world
    _, _, spawn = grow_spawn(world, 1)
    blocks = fresh(
        inoculate_blocks(world.doing(), bags=filled_bags(world, 2), count=2,
                         spawn=[Draw(spawn, 300 * GRAM)], shelf=world.shelf).lots[-1]
    )  # fmt: skip
    move_to_fruiting(world.doing(), lot=blocks, shelf=world.fruiting_shelf)


def asked(lot: Lot) -> int:
    with CaptureQueriesContext(connection) as queries:
        reach_report(reached(lot), MADE, names={})
    return len(queries)


def test_the_stages_stand_in_their_order() -> None:
    stages = [lot.stage for lot in reached(season().grown.culture).lots]

    assert stages == sorted(stages)
    assert stages[0] == Stage.CULTURE
