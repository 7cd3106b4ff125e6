"""What is in store: by place, what it should weigh now, and what goes first."""

from datetime import UTC, datetime

import pytest
from django.test import Client

from farm.actions.growing.blocks import move
from farm.actions.store.storing import weigh_again
from farm.models import LotCard, Product, Stage
from farm.queries.store.in_store import Stored, places_in_store, stored_lots, use_first
from farm.queries.store.water_loss import water_losses
from farm.reports.store.store_rows import mind
from ledger.models import Entry, Lot
from tests.farm.goods import crop, on_hand, packs
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, small_farm


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def now_of(world: World) -> datetime:
    return world.now.astimezone(world.farm.zone)


def stored(world: World, lot: Lot) -> Stored:
    return next(one for one in stored_lots(now_of(world), water_losses()) if one.lot == lot)


def put_in_fridge(world: World, lot: Lot) -> Lot:
    move(world.doing(), lot=lot, shelf=world.fridge_shelf)
    return lot


# --- what it should weigh --------------------------------------------------------------------


def test_a_pick_should_weigh_less_by_the_days_since_it_was_weighed(world: World) -> None:
    lot = crop(world)
    world.wait(2)

    one = stored(world, lot)

    # Believed 1 % a day, 0 to 2 %: 10 x 0.99^2, 0.98^2.
    assert (one.expected_mg, one.least_mg, one.most_mg) == (9_801_000, 9_604_000, 10 * KG)
    assert (one.weighed_mg, one.age_days) == (10 * KG, 2)


def test_a_weighing_starts_its_days_anew(world: World) -> None:
    lot = crop(world)
    world.wait(2)
    weigh_again(world.doing(), lot=lot, weight_mg=9_700 * GRAM)

    one = stored(world, lot)

    assert (one.weighed_mg, one.expected_mg) == (9_700 * GRAM, 9_700 * GRAM)
    assert one.weighed_on == world.now.date()


def test_packs_start_from_what_was_filled_in_and_fall_short(world: World) -> None:
    lot = packs(world)
    world.wait(1)

    one = stored(world, lot)

    # 40 packs of exactly 200 g: 8 kg x 0.99.
    assert (one.weighed_mg, one.expected_mg) == (8 * KG, 7_920 * GRAM)
    assert "should weigh less than it declares" in mind(one)


def test_what_is_dried_loses_nothing_and_keeps(world: World) -> None:
    lot = crop(world)
    LotCard.objects.filter(lot=lot).update(stage=Stage.DRIED)
    world.wait(40)

    one = stored(world, lot)

    assert (one.expected_mg, one.days_left) == (None, None)


# --- what goes first -------------------------------------------------------------------------


def test_what_keeps_least_goes_first_whatever_came_first(world: World) -> None:
    mane = crop(world, species=world.other_strain.species)
    oyster = crop(world)

    order = [one.lot for one in stored_lots(now_of(world), water_losses())]

    # Picked the same day: oyster keeps 6 days, lion's mane 8. Common practice, no source.
    assert order == [oyster, mane]


def test_each_species_has_its_own_first(world: World) -> None:
    mane = crop(world, species=world.other_strain.species)
    old = crop(world)
    world.wait(1)
    young = crop(world)

    ranks = use_first(stored_lots(now_of(world), water_losses()))

    assert (ranks[old.pk], ranks[young.pk], ranks[mane.pk]) == (1, 2, 1)


def test_a_pack_may_keep_longer_than_an_open_crate(world: World) -> None:
    Product.objects.filter(pk=world.product.pk).update(fridge_days=10)
    world.product.refresh_from_db()

    assert stored(world, packs(world)).days_left == 10


def test_past_its_days_is_said(world: World) -> None:
    lot = crop(world)
    world.wait(7)

    one = stored(world, lot)

    assert one.days_left == -1
    assert mind(one) == ["past its days"]


# --- by place --------------------------------------------------------------------------------


def test_lots_stand_under_their_place_and_what_has_none_comes_last(world: World) -> None:
    lost, here = crop(world), put_in_fridge(world, crop(world))

    places = places_in_store(now_of(world), water_losses())

    assert [(place.name, [one.lot for one in place.lots]) for place in places] == [
        ("Fridge, 1", [here]),
        ("Place not stated", [lost]),
    ]


def test_the_page_shows_every_lot_with_its_place(owner: Client, world: World) -> None:
    lot = put_in_fridge(world, crop(world))

    text = owner.get("/store/").content.decode()

    assert "Fridge, 1" in text
    assert f'href="/lots/{lot.code}/"' in text
    assert "a belief; own from 10 weighings on, 0 so far" in text


# --- a whole shelf weighed in ----------------------------------------------------------------


@pytest.fixture
def shelf(world: World) -> tuple[Lot, Lot]:
    """Two crates of 10 kg in the fridge, picked the day before the Unix clock of the page."""
    return put_in_fridge(world, crop(world)), put_in_fridge(world, crop(world))


def sent(client: Client, world: World, **typed: str) -> str:
    """Send the shelf's form as it was shown, with some boxes filled; the page that follows."""
    address = f"/store/weigh/{world.fridge_shelf.pk}/"
    form = client.get(address).context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    when = datetime(2026, 9, 8, 18, tzinfo=UTC).astimezone(world.farm.zone)
    data |= {"when": f"{when:%Y-%m-%dT%H:%M}", **typed}
    return client.post(address, data, follow=True).content.decode()


def test_the_expected_weight_is_a_hint_and_never_in_the_box(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    form = owner.get(f"/store/weigh/{world.fridge_shelf.pk}/").context["form"]

    box = form[f"weight_{shelf[0].pk}"]
    assert box.value() is None
    assert box.help_text.startswith("Should weigh about ")


def test_blank_is_not_weighed_and_the_rest_is_an_entry_each(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    text = sent(owner, world, **{f"weight_{shelf[0].pk}": "9.9"})

    assert "Weighed 1 of 2 lots" in text
    assert (on_hand(shelf[0]), on_hand(shelf[1])) == (9_900 * GRAM, 10 * KG)
    assert Entry.objects.filter(kind="weigh again").count() == 1
    assert_book_is_sound()


def test_a_doubtful_weight_is_asked_about_and_the_others_are_recorded(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    first, second = shelf

    text = sent(owner, world, **{f"weight_{first.pk}": "9.9", f"weight_{second.pk}": "8"})

    assert f"{first.code}: entry" in text
    assert "Is something not written down yet" in text
    assert f'name="weight_{second.pk}" value="8"' in text
    assert f'name="weight_{first.pk}"' not in text
    assert on_hand(second) == 10 * KG


def test_a_yes_with_a_cause_records_what_is_missing(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    key = shelf[0].pk

    sent(owner, world, **{f"weight_{key}": "8", f"sure_{key}": "on", f"cause_{key}": "sample"})

    entry = Entry.objects.get(kind="weigh again")
    assert (on_hand(shelf[0]), entry.reason) == (8 * KG, "sample")
    assert_book_is_sound()


def test_what_cannot_be_read_stays_with_its_refusal(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    first, second = shelf

    text = sent(owner, world, **{f"weight_{first.pk}": "9.9", f"weight_{second.pk}": "nine"})

    assert on_hand(first) == 9_900 * GRAM
    assert 'value="nine"' in text
    assert "cannot be read as a weight" in text


def test_more_than_the_book_holds_is_refused_at_its_row(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    text = sent(owner, world, **{f"weight_{shelf[0].pk}": "11"})

    assert f"Lot {shelf[0].code}: 11.00 kg" in text
    assert not Entry.objects.filter(kind="weigh again").exists()


def test_the_shelf_sent_twice_counts_once(
    owner: Client, world: World, shelf: tuple[Lot, Lot]
) -> None:
    address = f"/store/weigh/{world.fridge_shelf.pk}/"
    form = owner.get(address).context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    data |= {f"weight_{shelf[0].pk}": "9.9", "when": "2026-09-08T20:00"}

    owner.post(address, data)
    owner.post(address, data)

    assert Entry.objects.filter(kind="weigh again").count() == 1


def test_who_may_not_record_may_not_weigh(inspector: Client, world: World) -> None:
    assert inspector.get(f"/store/weigh/{world.fridge_shelf.pk}/").status_code == 403
