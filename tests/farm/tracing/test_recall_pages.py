"""The pages of a live recall: what leads to it, what is asked, what they ask the database."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farm.actions.common import Draw
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.store.storing import throw_away
from farm.models import Customer, Given, Recall
from farm.queries.tracing.recalls import open_recalls
from ledger.errors import Refused
from tests.farm.recall_cases import late, recalled, state, told
from tests.farm.season import season
from tests.farm.world import (
    UNIT,
    fresh,
)
from tests.graph import Graph
from tests.recalled import assert_recalls_are_right

pytestmark = pytest.mark.django_db

# --- pages --------------------------------------------------------------------------------------


def test_the_owners_home_page_leads_with_it_and_the_lots_page_says_it(owner: Client) -> None:
    lots = season()
    recalled(lots.world, lots.packs)
    page = owner.get("/").content.decode()

    main = page[page.index("<main") :]
    assert main.index("/recalls/1/") < main.index("</h1>") + 200
    assert "1 customer not spoken to, 1 place without a notice, 1 lot still here" in main
    lot = owner.get(f"/lots/{lots.packs.code}/").content.decode()
    assert '<a href="/recalls/1/">Recall 1</a></strong> lists this lot.' in lot


def test_nothing_is_left_to_do_is_said_only_when_nothing_is(owner: Client) -> None:
    lots = season()
    world = lots.world
    recall = recalled(world, lots.packs)
    for step in (
        lambda: told(world, recall, world.customer),
        lambda: told(world, recall, world.stall),
        lambda: throw_away(
            world.doing(reason="recalled"),
            lot=fresh(lots.packs),
            quantity=fresh(lots.packs).quantity,
        ),
    ):
        assert "Nothing is left to do" not in owner.get("/recalls/1/").content.decode()
        assert "/recalls/1/" in owner.get("/").content.decode()
        step()
    assert "Nothing is left to do" in owner.get("/recalls/1/").content.decode()
    assert "/recalls/1/" not in owner.get("/").content.decode()


def test_the_page_asks_how_far_back_the_fault_lies(owner: Client) -> None:
    lots = season()
    address = f"/trace/?codes={lots.packs.code}"
    form = {"do": "recall", "reason": "green dust", "uuid": str(uuid4())}
    asked = owner.post(address, form)

    assert asked.status_code == 422
    assert "How far back does the fault lie?" in asked.content.decode()
    assert not Recall.objects.exists()
    owner.post(address, {**form, "back": f"codes={lots.grown.grain.code}"})
    assert Recall.objects.get().suspects == f"lot {lots.grown.grain.code}"


def test_a_run_and_a_suppliers_lot_are_taken_as_they_are_asked(owner: Client) -> None:
    lots = season()
    world = lots.world
    back = f"supplier={world.supplier.pk}&supplier_lot=rye+26-31"
    owner.post(
        f"/trace/?codes={lots.packs.code}",
        {"do": "recall", "reason": "ergot", "uuid": str(uuid4()), "back": back},
    )
    recall = Recall.objects.get()

    assert recall.suspects == "Mill & Sons's lot rye 26-31"
    assert recall.asked


def test_lots_are_taken_out_on_the_page(owner: Client) -> None:
    lots = season()
    recalled(lots.world, lots.packs)
    form = {"uuid": str(uuid4()), "reason": "another batch", "lot": lots.packs.code}
    page = owner.post("/recalls/1/take-out/", form, follow=True).content.decode()

    assert f"Taken out and released: {lots.packs.code}" in page
    assert "another batch" in page
    assert open_recalls() == []


def test_samples_are_called_by_their_reason_on_the_page(owner: Client) -> None:
    lots = season()
    world = lots.world
    give_away(world.doing(sure=True), why=Given.SAMPLE, draws=[Draw(fresh(lots.packs), 1)])
    recall = recalled(world, lots.packs)
    page = owner.get("/recalls/1/").content.decode()
    assert "samples, given away" in page
    form = {
        "whom": "given-sample",
        "when": f"{timezone.now():%Y-%m-%dT%H:%M}",
        "reached": "on",
        "answer": "nobody is known",
        "recovered_mg": "",
        "uuid": str(uuid4()),
    }
    owner.post("/recalls/1/call/", form)

    assert state(recall).to_do.given == 0


def test_a_recall_asks_the_database_little_however_much_came_since(owner: Client) -> None:
    lots = season(spent=False)
    world = lots.world
    recall = recalled(world, lots.grown.grain)
    told(world, recall, world.customer)
    before = {address: asked(owner, address) for address in ("/", "/recalls/", "/recalls/1/")}
    for _ in range(3):
        sell(
            late(world, lots.packs),
            place=world.kitchens,
            customer=Customer.objects.create(name=f"C {uuid4()}", place=world.kitchens),
            lines=[SoldLine(fresh(lots.packs), 1, UNIT)],
        )
    recalled(world, lots.dried)

    for address, count in before.items():
        assert asked(owner, address) <= count < 20, address
    assert asked(owner, f"/trace/?codes={lots.packs.code}") < 20
    assert asked(owner, f"/lots/{lots.packs.code}/") < 20


def asked(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(address).status_code == 200
    return len(queries)


def test_recalls_agree_with_the_graph_over_a_season() -> None:
    lots = season()
    for lot in (lots.grown.grain, lots.firsts, lots.packs):
        recalled(lots.world, lot)

    assert len(assert_recalls_are_right(Graph())) == 3


def test_refusals_other_than_holds_stay_as_they_are() -> None:
    lots = season()
    recalled(lots.world, lots.packs)

    with pytest.raises(Refused, match="cannot be thrown away"):
        throw_away(lots.world.doing(reason="x"), lot=fresh(lots.packs), quantity=0)
