"""Work recorded at a shared tablet: the doer signs with initials and a PIN."""

import pytest
from django.test import Client

from ledger.models import Entry, Waiting
from tests.conftest import signed_in
from tests.farm.filled import last_entry, send, text
from tests.farm.kept import PIN, pinned
from tests.farm.world import World, filled_bags, grow_blocks


@pytest.fixture
def tablet(world: World) -> Client:
    """Signed in as the owner; the helper has a PIN."""
    pinned(world.helper)
    return signed_in(world.owner)


def receive(world: World, tablet: Client, **said: str) -> str:
    rye = {"supply": str(world.supplies["rye"].pk), "quantity": "25 kg", "paid_money": "15"}
    return text(send(tablet, "/record/receive-supplies/", **rye, **said))


def test_the_entry_is_the_doers_and_says_under_whose_sign_in(world: World, tablet: Client) -> None:
    receive(world, tablet, initials="hu", pin=PIN)
    page = text(tablet.get(f"/entries/{last_entry().seq}/"))

    assert last_entry().by == world.helper.pk
    assert "HU by PIN (OL)" in page


def test_the_hours_are_the_doers(world: World, tablet: Client) -> None:
    bags = filled_bags(world, 4, sterilised=False)
    send(
        tablet,
        "/record/steriliser-run/",
        steriliser=world.steriliser.pk,
        lots=[bags.code],
        minutes_at_temperature="90",
        gauge_pa="100 kPa",
        initials="HU",
        pin=PIN,
    )

    assert set(last_entry().charges.values_list("kind", flat=True)) == {"paid", "energy"}


def test_without_initials_it_is_ones_own(world: World, tablet: Client) -> None:
    receive(world, tablet)

    assert (last_entry().by, "typed_by" in last_entry().particulars) == (world.owner.pk, False)


def test_a_wrong_pin_records_nothing_and_is_never_shown_again(world: World, tablet: Client) -> None:
    page = receive(world, tablet, initials="HU", pin="8642")

    assert "do not belong together" in page and "8642" not in page
    assert not Entry.objects.exists()


def test_what_waits_is_the_doers_and_holds_no_pin(world: World, tablet: Client) -> None:
    blocks = grow_blocks(world, 4)
    send(
        tablet,
        f"/record/throw-away/?lot={blocks.code}",
        quantity="9",
        cause="green mould",
        initials="HU",
        pin=PIN,
    )
    waiting = Waiting.objects.get()

    assert waiting.by == world.helper.pk
    assert PIN not in waiting.payload
