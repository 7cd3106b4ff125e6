"""Food past its days is asked about where somebody is to eat it. Oyster keeps six days here."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from farm.actions.common import Draw, Recorded
from farm.actions.questions import PlausibilityQuestion
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry
from farm.actions.tracing.holding import hold
from farm.models import Form, Given, Person, Product, the_farm
from farm.queries.stock import all_lots
from farm.queries.store.check_weights import filling_of
from farm.queries.tracing.labels import labels_of
from farm.queries.tracing.traces import trace_of
from ledger.errors import OnHold
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.filled import prefilled, text, typed
from tests.farm.goods import crop
from tests.farm.world import GRAM, KG, UNIT, World, assert_book_is_sound


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


@pytest.mark.parametrize("done", ["sold", "given away", "packed", "dried"])
def test_a_hold_is_said_before_anything_is_asked(world: World, done: str) -> None:
    lot = crop(world)
    world.wait(8)
    hold(world.doing(reason="green dust"), [lot])

    with pytest.raises(OnHold, match=f"Lot {lot.code} is on hold and may not be {done}"):
        DONE[done](world, lot)


def test_told_late_of_before_the_hold_it_is_asked_about_and_then_sold(world: World) -> None:
    lot = crop(world)
    world.wait(8)
    told = world.doing(reason="from the paper")
    world.wait(1)
    hold(world.doing(reason="green dust"), [lot])
    line = SoldLine(lot, KG, UNIT)

    with pytest.raises(PlausibilityQuestion, match="2 days too old"):
        sell(told, place=world.kitchens, customer=world.customer, lines=[line])
    sure = replace(told, sure=True)
    assert sell(sure, place=world.kitchens, customer=world.customer, lines=[line]).fresh


# --- dried and packed ------------------------------------------------------------------------


def dried(world: World, *lots: Lot, sure: bool = False) -> Recorded:
    """A kilo of each; oyster is 89.2 % water, so 2 kg hold 216 g dry matter."""
    return dry(
        world.doing(sure=sure),
        draws=[Draw(lot, KG) for lot in lots],
        dried_mg=len(lots) * 115 * GRAM,
        temperature_milli_c=52_000,
        minutes_drying=600,
    )


def packed(world: World, lot: Lot, *, product: Product | None = None, sure: bool) -> Recorded:
    product = product or world.product
    draws = [Draw(lot, 5 * product.net_mg)]
    return pack(world.doing(sure=sure), product=product, packs=5, draws=draws)


DONE: dict[str, Callable[[World, Lot], Recorded]] = {
    "sold": sold,
    "given away": lambda world, lot: give_away(
        world.doing(), why=Given.GIFT, draws=[Draw(lot, KG)]
    ),
    "packed": lambda world, lot: packed(world, lot, sure=False),
    "dried": dried,
}


def words_of(lot: Lot) -> list[str]:
    """What the lot's page, its label and its trace say of it."""
    found = all_lots().get(pk=lot.pk)
    (label,) = labels_of([found], the_farm())
    traced = next(one for one in trace_of(found).behind.lots if one.code == lot.code)
    page = text(signed_in(Person.objects.get(user__username="olive")).get(f"/lots/{lot.code}/"))
    return [" ".join(label.facts), traced.facts, page]


def test_food_past_its_days_is_dried_and_packed_after_a_question_alone(world: World) -> None:
    """Picked on the 7th, six days: the 13th is its last; on the 15th it is two days too old."""
    world.received("punnet", 20)
    lot, good = crop(world), crop(world)
    world.wait(8)

    for attempt in (dried, packed):
        with pytest.raises(PlausibilityQuestion, match=r"past their best before|2 days too old"):
            attempt(world, lot, sure=False)
    jar = dried(world, lot, good, sure=True).lots[-1]
    punnets = packed(world, lot, sure=True).lots[-1]

    said = f"lot {lot.code}, 2 days too old"
    assert all(said in words for made in (jar, punnets) for words in words_of(made))
    assert_book_is_sound()


def test_a_pouch_filled_from_the_jar_says_so_too(world: World) -> None:
    world.received("punnet", 20)
    lot = crop(world)
    world.wait(9)
    jar = dried(world, lot, sure=True).lots[-1]
    world.wait(30)
    pouch = Product.objects.create(
        name="Oyster, dried, 20 g", species=world.species, form=Form.DRIED, net_mg=20 * GRAM
    )
    pouches = packed(world, jar, product=pouch, sure=False).lots[-1]

    assert all(f"lot {lot.code}, 3 days too old" in words for words in words_of(pouches))


def test_what_is_made_of_good_food_says_nothing(world: World) -> None:
    jar = dried(world, crop(world)).lots[-1]

    assert not any("too old" in words or "past its days" in words for words in words_of(jar))


def test_neither_packing_nor_drying_nor_a_sale_is_prefilled_with_what_is_too_old(
    world: World,
) -> None:
    client, old = signed_in(world.owner), crop(world)
    world.wait(5)
    good = crop(world)
    last, over = (f"{old.made_by.happened_on + timedelta(days=n)}T18:00" for n in (6, 7))
    pack_at = f"/record/pack/?product={world.product.pk}&packs=20&when="

    assert f"draws_{old.pk}" in prefilled(client, pack_at + last)
    assert f"draws_{old.pk}" not in prefilled(client, pack_at + over)
    assert f"draws_{good.pk}" in prefilled(client, pack_at + over)
    for slug, group in (("dry", "draws"), ("sell", "sold")):
        for when, there in ((last, True), (over, False)):
            address = f"/record/{slug}/?all_of={old.code}&when={when}&place={world.kitchens.pk}"
            assert (f"{group}_{old.pk}" in prefilled(client, address)) is there


def test_packing_is_prefilled_with_what_it_is_advised_to_fill(world: World) -> None:
    """Half of what oyster may lose is expected: 1.55 % of 200 g a day for five days.

    200 / 0.9845^5 = 216.25 g, and 1.645 x 2 g for the scatter of hands, 3.29 g, make 219.54 g:
    220 g are filled, and 20 packs of 220 g are 4.40 kg.
    """
    world.species.water_loss_ppm = 31_000
    world.species.save()
    Product.objects.filter(pk=world.product.pk).update(fridge_days=5)
    lot, client = crop(world), signed_in(world.owner)
    assert filling_of(Product.objects.get(pk=world.product.pk), "kg").fill_mg == 220 * GRAM
    when = f"{world.now:%Y-%m-%dT%H:%M}"
    address = f"/record/pack/?product={world.product.pk}&packs=20"

    assert prefilled(client, f"{address}&when={when}")[f"draws_{lot.pk}"] == "4.40 kg"
    world.received("punnet", 20)
    sent = typed(when=f"{world.now:%Y-%m-%dT%H:%M}", **{f"draws_{lot.pk}": "4.40 kg"})
    assert "/entries/" in client.post(address, sent).headers["Location"]


def test_what_advice_fills_is_never_asked_about(world: World) -> None:
    """With 3 % a day for six days the advice is over a tenth: 200 / 0.97^6 = 240.11 and 3.29."""
    world.species.water_loss_ppm = 60_000
    world.species.save()
    world.received("punnet", 40)
    lot = crop(world)
    each = filling_of(Product.objects.get(pk=world.product.pk), "kg").fill_mg
    assert each == 244 * GRAM

    filled = [Draw(lot, 20 * each)]
    assert pack(world.doing(), product=world.product, packs=20, draws=filled).fresh
    with pytest.raises(PlausibilityQuestion, match="Did you mean 24 packs"):
        pack(world.doing(), product=world.product, packs=20, draws=[Draw(lot, 20 * each + 1)])
