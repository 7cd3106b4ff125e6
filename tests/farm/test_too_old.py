"""Food past its days is asked about where somebody is to eat it. Oyster keeps six days here."""

import json
from datetime import date, timedelta

import pytest

from farm.actions.common import Draw, Recorded
from farm.actions.giving import give_away
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling import SoldLine, sell
from farm.actions.stalls import load_stall
from farm.models import Given
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import typed
from tests.farm.goods import crop
from tests.farm.world import KG, UNIT, World


def sold(world: World, *lots: Lot, sure: bool = False) -> Recorded:
    lines = [SoldLine(lot, KG, UNIT) for lot in lots]
    return sell(world.doing(sure=sure), place=world.kitchens, customer=world.customer, lines=lines)


def loaded(world: World, lot: Lot, day: date) -> Recorded:
    return load_stall(world.doing(), place=world.stall, day=day, lines=[Draw(lot, KG)])


def test_the_last_day_is_sold_without_a_word_and_the_next_is_asked_about(world: World) -> None:
    older = crop(world)
    world.wait(1)
    newer = crop(world)
    world.wait(5)
    assert sold(world, older).fresh
    world.wait(3)

    with pytest.raises(PlausibilityQuestion) as asked:
        sold(world, older, newer)
    old = f"lot {older.code} is 3 days too old, lot {newer.code} is 2 days too old"
    assert f"On Wed 16 Sep 2026 {old}. Throw it away" in asked.value.question
    assert set(asked.value.lots) == {older.code, newer.code}


def test_a_load_is_held_against_the_day_of_the_stall(world: World) -> None:
    lot = crop(world)
    last = world.now.date() + timedelta(days=6)

    with pytest.raises(PlausibilityQuestion, match=f"lot {lot.code} is 1 day too old"):
        loaded(world, lot, last + timedelta(days=1))
    assert loaded(world, lot, last).fresh


def test_others_are_given_nothing_too_old_unasked_and_the_household_may_eat_it(
    world: World,
) -> None:
    lot = crop(world)
    world.wait(8)

    for why in (Given.SAMPLE, Given.GIFT):
        with pytest.raises(PlausibilityQuestion, match="2 days too old"):
            give_away(world.doing(), why=why, draws=[Draw(lot, KG)])
    assert give_away(world.doing(), why=Given.OWN, draws=[Draw(lot, KG)]).fresh


def test_a_yes_stands_with_the_sale(world: World) -> None:
    lot = crop(world)
    world.wait(7)
    said = json.loads(sold(world, lot, sure=True).entry.particulars)

    assert f"lot {lot.code} is 1 day too old" in said["asked"]
    assert said["answer"] == "yes, that is right"


def test_a_sale_that_waited_on_a_phone_comes_back_with_the_question(world: World) -> None:
    lot, client = crop(world), signed_in(world.owner)
    address = f"/record/sell/?place={world.stall.pk}"
    sent = typed(**{f"sold_{lot.pk}": "1 kg", f"price_{lot.pk}": "12"})
    answer = client.post(address, sent, headers={"Accept": "application/json"})

    # Picked on 7 September, so kept until the 13th; sold on 20 October.
    assert "37 days too old" in answer.json()["question"]["words"]
    assert "37 days too old" in client.get("/unfinished/").content.decode()
