"""A recall: numbered, frozen, its calls and notices kept, what came back counted."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farm.actions.selling.selling import SoldLine, sell
from farm.actions.tracing.recalling import add_call, open_recall, write_notice
from farm.models import Recall, RecallCall
from farm.queries.tracing.frozen_lists import freeze, thaw
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.recalls import state_of
from farm.queries.tracing.suspects import Suspects, suspect_lots
from farm.reports.tracing.notice import first_words
from farm.reports.tracing.recall_rows import share_words
from ledger.drafts import canonical
from ledger.errors import Malformed
from tests.farm.papers import pdf_words
from tests.farm.season import Season, season
from tests.farm.world import GRAM, KG, UNIT, fresh

pytestmark = pytest.mark.django_db

MARKET_NOON = datetime(2026, 10, 1, 12, tzinfo=UTC)


def reached(lots: Season) -> Reach:
    return reach_of(suspect_lots([lots.grown.grain]))


def opened(lots: Season, reason: str = "green dust on the packs") -> Recall:
    return open_recall(lots.world.doing(reason=reason), reached(lots), notice="Do not eat them.")


def called(lots: Season, recall: Recall, recovered_mg: int = 0, answer: str = "has 5") -> None:
    world = lots.world
    add_call(
        world.doing(reason=answer), recall, world.customer, reached=True, recovered_mg=recovered_mg
    )


def recovered_words(recall: Recall) -> str:
    state = state_of(recall)
    return share_words(state.recovered_mg, state.sold_mg)


# --- opened -----------------------------------------------------------------------------------


def test_recalls_are_numbered_without_gaps() -> None:
    lots = season()
    opened(lots)
    with pytest.raises(Malformed):
        opened(lots, reason=" ")
    opened(lots)

    assert sorted(Recall.objects.values_list("number", flat=True)) == [1, 2]


def test_a_recall_sent_twice_is_one() -> None:
    lots = season()
    doing = lots.world.doing(reason="green dust")
    one, again = (open_recall(doing, reached(lots), notice="Do not eat.") for _ in range(2))

    assert one == again
    assert one.notices.count() == 1


def test_nothing_is_no_recall() -> None:
    lots = season()
    with pytest.raises(Malformed, match="Nothing is known of no lots"):
        open_recall(lots.world.doing(reason="x"), reach_of(Suspects("no lots", ())), notice="x")


def test_the_frozen_list_stays_as_it_was_when_more_was_sold_before_the_hold() -> None:
    lots = season()
    recall = opened(lots)
    before = state_of(recall).frozen
    earlier = replace(lots.world.doing(reason="Saturday's sheet"), happened_at=MARKET_NOON)
    sell(
        earlier,
        place=lots.world.kitchens,
        customer=lots.world.customer,
        lines=[SoldLine(fresh(lots.packs), 1, 4 * UNIT)],
    )

    state = state_of(Recall.objects.get())
    assert state.frozen == before
    assert state.now.sold_mg == before.sold_mg + 200 * GRAM


def test_what_is_frozen_comes_back_as_it_was() -> None:
    found = reached(season())
    frozen = thaw(canonical(freeze(found)))

    assert (frozen.lots, frozen.recipients) == (found.lots, found.recipients)
    assert (frozen.unnamed, frozen.balances) == (found.unnamed, found.balances)
    assert [sale.amount for sale in frozen.sales] == [sale.amount for sale in found.sales]
    assert (frozen.codes, frozen.sold_mg) == (found.codes, found.sold_mg)


def test_what_is_frozen_holds_numbers_and_no_names() -> None:
    lots = season()
    lots.world.customer.contact = "01 234"
    lots.world.customer.save()
    recall = opened(lots)

    assert "Anchor" not in recall.frozen
    assert "01 234" not in recall.frozen
    assert lots.world.customer.number in recall.frozen
    assert recall.frozen == canonical(json.loads(recall.frozen))


@pytest.mark.parametrize("change", ["update", "delete"])
def test_the_database_refuses_to_change_a_recall(change: str) -> None:
    lots = season()
    called(lots, opened(lots))
    rows = (Recall.objects.all(), RecallCall.objects.all(), Recall.objects.get().notices.all())
    for row in rows:
        with pytest.raises(DatabaseError), transaction.atomic():
            if change == "update":
                row.update(by=lots.world.helper)
            else:
                row._raw_delete(row.db)


# --- calls ------------------------------------------------------------------------------------


def test_what_came_back_is_a_share_of_what_was_sold() -> None:
    lots = season()
    recall = opened(lots)
    called(lots, recall, KG)
    called(lots, recall, 200 * GRAM)

    # Sold: 20 packs less 2 back to the kitchens, 6 at the stall, of 200 g; 0.5 kg loose:
    # 24 x 0.2 + 0.5 = 5.3 kg; 1.2 of 5.3 is 22.64 %.
    assert recovered_words(recall) == "1.20 kg of 5.30 kg (22.64 %)"


def test_a_customer_is_spoken_to_once_somebody_answered() -> None:
    lots = season()
    recall, world = opened(lots), lots.world
    add_call(world.doing(reason="no answer"), recall, world.customer, reached=False, recovered_mg=0)
    assert state_of(recall).reached == 0
    called(lots, recall)

    state = state_of(recall)
    assert (state.reached, state.customers[world.customer.pk].called.calls) == (1, 2)


def test_a_call_without_an_answer_is_refused() -> None:
    lots = season()
    with pytest.raises(Malformed, match="needs its answer"):
        called(lots, opened(lots), answer=" ")


def test_more_cannot_come_back_than_was_received() -> None:
    lots = season()
    recall = opened(lots)
    # The kitchens received 4 kg in packs and 0.5 kg loose.
    called(lots, recall, 4_400 * GRAM)
    with pytest.raises(Malformed, match=r"4\.60 kg"):
        called(lots, recall, 200 * GRAM)


def test_a_notice_at_the_stall_is_a_call_to_the_place() -> None:
    lots = season()
    recall, world = opened(lots), lots.world
    add_call(world.doing(reason="it hangs"), recall, world.stall, reached=True, recovered_mg=0)

    assert state_of(recall).places[world.stall.name].told
    with pytest.raises(Malformed, match="Saturday market"):
        add_call(world.doing(reason="x"), recall, world.stall, reached=True, recovered_mg=9 * KG)


def test_a_call_sent_twice_is_one() -> None:
    lots = season()
    recall, doing = opened(lots), lots.world.doing(reason="has 5")
    for _ in range(2):
        add_call(doing, recall, lots.world.customer, reached=True, recovered_mg=KG)

    assert state_of(recall).recovered_mg == KG


# --- the notice -------------------------------------------------------------------------------


def test_every_version_of_the_notice_is_kept() -> None:
    lots = season()
    recall = opened(lots)
    write_notice(lots.world.doing(), recall, "Do not eat them. Ring us.")
    write_notice(lots.world.doing(), recall, "Do not eat them. Ring us.\r\n")

    texts = list(recall.notices.values_list("version", "text"))
    assert texts == [(1, "Do not eat them."), (2, "Do not eat them. Ring us.")]


def test_an_empty_notice_is_refused() -> None:
    lots = season()
    with pytest.raises(Malformed, match="has no words"):
        write_notice(lots.world.doing(), opened(lots), " \n ")


def test_the_first_words_name_product_lot_and_days_and_leave_the_verdict_alone() -> None:
    lots = season()
    words = first_words(lots.world.farm, reached(lots), date(2026, 11, 2))

    assert "Oyster, 200 g" in words
    assert lots.packs.code in words
    assert "The food-safety authority decides" in words
    assert lots.grown.spawn.code not in words


# --- pages ------------------------------------------------------------------------------------


def opened_on_page(client: Client, lots: Season) -> str:
    codes = f"codes={lots.grown.grain.code}"
    form = {"do": "recall", "reason": "green dust", "uuid": str(uuid4()), "back": codes}
    address = f"/trace/?{codes}"
    return client.post(address, form, follow=True).content.decode()


def test_a_recall_is_opened_from_the_reach_and_listed(owner: Client) -> None:
    lots = season()
    page = opened_on_page(owner, lots)

    assert "Recall 1 is open" in page
    assert "The Anchor" in page
    assert "Saturday market" in page
    assert "green dust" in owner.get("/recalls/").content.decode()


def test_a_helper_works_on_a_recall_by_numbers(helper: Client) -> None:
    lots = season()
    page = opened_on_page(helper, lots)

    assert "The Anchor" not in page
    assert lots.world.customer.number in page
    assert b"The Anchor" not in helper.get("/recalls/1/?file=xlsx").content


def test_a_reader_opens_no_recall(reader: Client) -> None:
    lots = season()
    form = {"do": "recall", "reason": "green dust", "uuid": str(uuid4())}

    assert reader.post(f"/trace/?codes={lots.packs.code}", form).status_code == 403
    assert not Recall.objects.exists()


def test_a_call_is_written_down_on_the_page(owner: Client) -> None:
    lots = season()
    opened_on_page(owner, lots)
    page = owner.post("/recalls/1/call/", call_form(lots), follow=True).content.decode()

    assert "The call is kept" in page
    assert "1.00 kg of 5.30 kg" in page
    assert "set it aside" in page


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"answer": ""}, "This is needed"),
        ({"recovered_mg": "9 kg"}, "received"),
        ({"whom": "customer-999"}, "Select a valid choice"),
        ({"when": "2099-01-01T10:00"}, "later than now"),
    ],
)
def test_a_wrong_call_is_refused_beside_its_field(
    owner: Client, wrong: dict[str, str], words: str
) -> None:
    lots = season()
    opened_on_page(owner, lots)
    response = owner.post("/recalls/1/call/", call_form(lots) | wrong)

    assert response.status_code == 422
    assert words in response.content.decode()
    assert not RecallCall.objects.exists()


def call_form(lots: Season) -> dict[str, str]:
    when = timezone.now() - timedelta(minutes=1)
    return {
        "whom": f"customer-{lots.world.customer.pk}",
        "when": f"{when:%Y-%m-%dT%H:%M}",
        "reached": "on",
        "answer": "set it aside",
        "recovered_mg": "1 kg",
        "uuid": str(uuid4()),
    }


def test_the_notice_is_edited_on_the_page(owner: Client) -> None:
    lots = season()
    opened_on_page(owner, lots)
    page = owner.post("/recalls/1/notice/", {"text": "Bring it back."}, follow=True)

    assert "kept as version 2" in page.content.decode()
    assert "Bring it back." in page.content.decode()


def test_the_pdf_carries_the_list_the_contacts_and_the_notice(owner: Client) -> None:
    lots = season()
    lots.world.customer.contact = "01 234 567"
    lots.world.customer.save()
    opened_on_page(owner, lots)
    words = pdf_words(owner.get("/recalls/1/?file=pdf").content)

    assert "01 234 567" in words
    assert "The food-safety authority decides" in words
    assert "Saturday market" in words


def test_the_spreadsheet_is_taken_away(owner: Client) -> None:
    opened_on_page(owner, season())

    assert owner.get("/recalls/1/?file=xlsx").content.startswith(b"PK")


def test_an_unknown_recall_is_not_found(owner: Client) -> None:
    assert owner.get("/recalls/7/").status_code == 404


def test_the_number_of_queries_does_not_grow_with_calls(owner: Client) -> None:
    lots = season()
    opened_on_page(owner, lots)
    recall = Recall.objects.get()
    called(lots, recall)
    before = asked(owner)
    for _ in range(5):
        called(lots, recall)

    assert asked(owner) == before


def asked(client: Client) -> int:
    with CaptureQueriesContext(connection) as queries:
        client.get("/recalls/1/")
    return len(queries)
