"""What a page needs it asks the database for once, however many rows there are."""

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from farm.actions.recording.correcting import correct_quantity
from ledger.models import Entry, Role
from tests.conftest import signed_in
from tests.farm.world import GRAM, World, fruiting, picked


def test_a_page_asks_once_who_is_signed_in_with_their_person(
    owner: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(3):  # the session, the sign-in with its person, the farm
        owner.get("/words/")


def test_a_form_reads_each_of_its_lists_once(world: World) -> None:
    fruiting(world, 4)
    fruiting(world, 4)

    with CaptureQueriesContext(connection) as asked:
        signed_in(world.owner).get("/record/pick/")

    for rows in ("farm_shelf", "ledger_lot", "farm_placing"):
        assert sum(f'FROM "{rows}"' in one["sql"] for one in asked) == 1


def test_the_form_of_packs_works_out_once_how_full_to_fill(world: World) -> None:
    with CaptureQueriesContext(connection) as asked:
        signed_in(world.owner).get(f"/record/pack/?product={world.product.pk}&packs=5")

    assert sum("'weigh again'" in one["sql"] for one in asked) == 1


def test_an_entry_and_its_corrections_are_asked_for_together(world: World) -> None:
    client, lot = signed_in(world.owner), picked(world)
    entry = lot.made_by
    plain = asked_for(client, entry)
    for grams in (9_000, 8_000):
        correct_quantity(world.doing(), entry, lot=lot, role=Role.MADE, right_quantity=grams * GRAM)

    assert asked_for(client, entry) == plain


def asked_for(client: Client, entry: Entry) -> int:
    """How many queries the page of an entry takes."""
    with CaptureQueriesContext(connection) as asked:
        client.get(f"/entries/{entry.pk}/")
    return len(asked)
