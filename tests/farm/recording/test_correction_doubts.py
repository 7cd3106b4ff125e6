"""A corrected number is asked about as it would have been when it was first recorded."""

import json
from decimal import Decimal
from uuid import uuid4

import pytest

from farm.actions.common import Draw
from farm.actions.growing.harvesting import mark_spent
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.signing import Signed
from farm.actions.store.counting import Counted, keep_count
from farm.actions.store.packing import pack
from farm.actions.store.storing import weigh_again
from farm.queries.store.later_weights import stated_later
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Entry, Line, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import text
from tests.farm.season import season
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound, fresh, picked

# The kind of entry, the line of it (its role and its lot's item), what is said to be right, and
# words of the question. 40 blocks, 8 kg of firsts, 30 packs of 200 g: see season.py.
CASES: tuple[tuple[str, str, str, int, str], ...] = (
    ("fill blocks", Role.USED, "sawdust", 390 * KG, "sawdust for 40 filled, where the recipe"),
    ("fill blocks", Role.MADE, "Filled bags", 80, "block bag for 80 filled"),
    ("inoculate blocks", Role.USED, "spawn", 100 * GRAM, "0.1 % of the wet substrate"),
    ("check", Role.LOST, "Blocks", 30, "30 of 40 lost is more than usual"),
    ("pick", Role.MADE, "firsts", 80 * KG, "82.00 kg .* from 39 blocks, where 19.50 kg .* planned"),
    ("pack", Role.MADE, "Oyster, 200 g", 20, "6.00 kg .* into 20 × Oyster.*over the 4.00 kg"),
    ("weigh again", Role.SHRUNK, "firsts", 600 * GRAM, "1.40 kg .* weighed, 2.00 kg .* more is"),
    ("dry", Role.MADE, "Dried", 300 * GRAM, "300 g .* would still hold"),
)


def corrected(
    world: World, line: Line, right: int, money: int | None = None, *, sure: bool = False
) -> Recorded:
    return correct_quantity(
        world.doing(sure=sure),
        line.entry,
        lot=line.lot,
        role=line.role,
        right_quantity=right,
        right_money=money,
    )


def line_of(kind: str, role: str, item: str) -> Line:
    lines = Line.objects.filter(entry__kind=kind, role=role, lot__item__name__contains=item)
    return lines.select_related("entry", "lot__item").latest("entry_id")


@pytest.mark.django_db
def test_a_correction_asks_what_recording_would_have_asked() -> None:
    world = season(spent=False).world
    world.received("sawdust", 10 * KG)  # 4.00, at 0.40 a kilo as before
    sold, bought = line_of("sell", "sold", "200 g"), line_of("receive supplies", "bought", "sawd")
    before = Entry.objects.count()

    for kind, role, item, right, words in CASES:
        with pytest.raises(PlausibilityQuestion, match=words):
            corrected(world, line_of(kind, role, item), right)
    with pytest.raises(PlausibilityQuestion, match=r"50\.00 each, where .*5\.00 is the price"):
        corrected(world, sold, 20, 1000 * UNIT)
    with pytest.raises(PlausibilityQuestion, match=r"40\.00 for this sawdust"):
        corrected(world, bought, 10 * KG, 40 * UNIT)
    assert Entry.objects.count() == before


def test_a_pick_is_held_against_the_blocks_that_there_were(world: World) -> None:
    lot = picked(world)
    mark_spent(world.doing(), lot=fresh(lot.edges_in.get().src))
    line = Line.objects.get(entry=lot.made_by, role=Role.MADE)

    assert corrected(world, line, 12 * KG).fresh
    with pytest.raises(PlausibilityQuestion, match=r"from 40 blocks, where 20\.00 kg"):
        corrected(world, line, 80 * KG)
    with pytest.raises(Malformed, match=r"themselves weigh: 40 blocks .* 99\.792 kg"):
        corrected(world, line, 1240 * KG, sure=True)
    said = json.loads(corrected(world, line, 80 * KG, sure=True).entry.particulars)
    assert "from 40 blocks" in said["asked"]
    assert said["answer"] == "yes, that is right"
    assert_book_is_sound()


def test_the_page_asks_and_a_yes_corrects(world: World) -> None:
    lot, client = picked(world), signed_in(world.owner)
    address = f"/entries/{lot.made_by_id}/correct/?lot={lot.code}&role=made"
    page = text(client.get(address))
    sent = {"right_quantity": "80 kg", "uuid": page.split('name="uuid" value="')[1][:36]}
    asked = text(client.post(address, sent))

    assert "from 40 blocks" in asked
    assert "Yes, that is right" in asked
    assert fresh(lot).quantity == 10 * KG
    client.post(address, sent | {"sure": "on"})
    assert fresh(lot).quantity == 80 * KG


# --- against what the scale said later -------------------------------------------------------


def weighed(world: World, lot: Lot, kilos: str) -> Recorded:
    return weigh_again(
        world.doing(reason="scale"), lot=fresh(lot), weight_mg=int(Decimal(kilos) * KG)
    )


def pick_line(lot: Lot) -> Line:
    return Line.objects.select_related("entry", "lot__item").get(
        lot=lot, role=Role.MADE, entry__amends=None
    )


@pytest.mark.parametrize(("right", "says"), [(4 * KG, r"3\.50 kg"), (9 * KG, r"8\.50 kg")])
def test_a_correction_beyond_what_the_scale_said_later_is_asked_about(
    world: World, right: int, says: str
) -> None:
    """8 kg weighed 7.5 two days later: with 4 kg picked the book says 3.5 for that day."""
    crop = picked(world, 8 * KG)
    world.wait(2)
    seq = weighed(world, crop, "7.5").entry.seq

    with pytest.raises(
        PlausibilityQuestion, match=rf"7\.50 kg .*were weighed .*entry {seq}.*says {says}"
    ):
        corrected(world, pick_line(crop), right)
    corrected(world, pick_line(crop), 8 * KG + 9_000)  # so much may be the scale's
    assert corrected(world, pick_line(crop), right, sure=True).fresh
    assert_book_is_sound()


def test_a_correction_towards_what_the_scale_said_is_taken(world: World) -> None:
    """The pick was corrected to 4 kg although the scale said 7.5: corrected back, nothing is asked.
    A weighing that is put right itself speaks for its new weight."""
    crop = picked(world, 8 * KG)
    world.wait(2)
    weighing = weighed(world, crop, "7.5")
    corrected(world, pick_line(crop), 4 * KG, sure=True)

    assert corrected(world, pick_line(crop), 8 * KG).fresh
    lost = weighing.entry.lines.filter(lot=crop, role__in=("lost", "shrunk")).first()
    assert lost
    changed = abs(lost.quantity) + 500 * GRAM
    assert corrected(world, lost, changed, sure=True).fresh
    (stated,) = stated_later(fresh(crop), crop.made_by)
    assert (stated.found, stated.book) == (7 * KG, 7 * KG)


def test_a_weighing_that_was_taken_back_says_nothing(world: World) -> None:
    crop = picked(world, 8 * KG)
    world.wait(2)
    undo(world.doing(), weighed(world, crop, "7.5").entry)

    assert corrected(world, pick_line(crop), 4 * KG).fresh


def test_a_correction_against_a_stock_count_is_asked_about(world: World) -> None:
    """20 packs were packed and counted as 20: they were not 18."""
    crop = picked(world, 8 * KG)
    world.received("punnet", 20)
    packs = pack(
        world.doing(), product=world.product, packs=20, draws=[Draw(fresh(crop), 4 * KG)]
    ).lots[-1]
    doing = world.doing()
    count = Counted(
        uuid=uuid4(),
        happened_at=doing.happened_at,
        room=None,
        hidden=False,
        found=[(fresh(packs), 20)],
    )
    keep_count(Signed(world.owner, world.owner), count)
    line = Line.objects.get(lot=packs, role=Role.MADE)

    with pytest.raises(
        PlausibilityQuestion, match=r"20 pieces were counted .*says 18 pieces for that moment"
    ):
        corrected(world, line, 18)
