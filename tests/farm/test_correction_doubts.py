"""A corrected number is asked about as it would have been when it was first recorded."""

import json

import pytest

from farm.actions.correcting import correct_quantity
from farm.actions.harvesting import mark_spent
from farm.actions.questions import PlausibilityQuestion
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Entry, Line, Role
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
        world.doing(sure=sure), line.entry, lot=line.lot, role=line.role, right_quantity=right,
        right_money=money,
    )  # fmt: skip


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
