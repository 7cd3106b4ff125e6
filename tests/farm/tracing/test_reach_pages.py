"""The pages of a reach: what is asked, who sees names, hold in one tap, release."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.tracing.holding import hold
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.suspects import (
    runs_kept,
    suspect_lots,
)
from ledger.errors import OnHold
from ledger.models import Entry, Lot, Mark
from tests.farm.season import season
from tests.farm.world import (
    KG,
    UNIT,
    fresh,
    fruiting,
    small_farm,
)

pytestmark = pytest.mark.django_db


def reached(*lots: Lot) -> Reach:
    return reach_of(suspect_lots(lots))


def read(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200, response.content.decode()
    return response.content.decode()


def test_the_page_names_customers_only_to_who_may_see_them(owner: Client, helper: Client) -> None:
    lots = season()
    lots.world.customer.contact = "01 234"
    lots.world.customer.save()
    address = f"/trace/?codes={lots.grown.grain.code}"

    assert "01 234" in read(owner, address)
    page = read(helper, address)
    assert "The Anchor" not in page
    assert lots.world.customer.number in page


def test_one_wrong_character_is_explained(owner: Client) -> None:
    lots = season()
    code = lots.packs.code
    wrong = ("3" if code[0] == "2" else "2") + code[1:]
    response = owner.get(f"/trace/?codes={wrong}")

    assert response.status_code == 422
    assert f"Did you mean {code}" in response.content.decode()


def test_each_kind_of_suspects_has_its_page(owner: Client) -> None:
    lots = season()
    world = lots.world
    run = runs_kept()[0]

    for query in (
        f"codes={lots.firsts.code}+{lots.seconds.code}",
        f"run={run.pk}",
        f"culture={lots.grown.culture.pk}",
        f"room={world.shelf.room_id}&first=2026-09-01&last=2026-12-01",
        f"supplier={world.supplier.pk}&supplier_lot=rye+26-31",
    ):
        assert "The Anchor" in read(owner, f"/trace/?{query}"), query


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("codes=&first=", "one kind at a time"),
        ("room={room}", "Give the first and the last day"),
        ("room={room}&first=2026-10-02&last=2026-10-01", "is before the first day"),
        ("supplier={supplier}", "Type the lot mark"),
        ("supplier={supplier}&supplier_lot=none", "knows nothing of"),
        ("supplier={supplier}&supplier_lot=a&room={room}", "one kind at a time"),
    ],
)
def test_half_a_question_is_answered_with_what_is_missing(
    owner: Client, query: str, words: str
) -> None:
    world = small_farm()
    asked = query.format(room=world.shelf.room_id, supplier=world.supplier.pk)
    response = owner.get(f"/trace/?{asked}")

    assert response.status_code == 422
    assert words in response.content.decode()


def test_the_lists_are_taken_away(owner: Client) -> None:
    address = f"/trace/?codes={season().grown.grain.code}"

    assert owner.get(f"{address}&file=pdf").content.startswith(b"%PDF")
    assert owner.get(f"{address}&file=xlsx").content.startswith(b"PK")


def test_the_page_of_a_lot_says_both_ways_with_hold_and_recall(owner: Client) -> None:
    lots = season()
    code = lots.packs.code
    page = read(owner, f"/trace/{code}/")

    assert lots.grown.spawn.code in page
    assert "The Anchor" in page
    assert "Hold the one lot that is still here and free" in page
    assert f'href="/trace/?codes={code}#recall"' in page
    assert f'action="/trace/?codes={code}"' in page


def test_what_the_page_of_a_lot_would_hold_is_what_is_held(owner: Client) -> None:
    lots = season()
    to_hold = len(reached(lots.grown.grain).to_hold)
    page = read(owner, f"/trace/{lots.grown.grain.code}/")

    assert f"Hold all {to_hold} lots that are still here and free" in page
    hold_all(owner, lots.grown.grain)
    assert "there is nothing of it to hold" in read(owner, f"/trace/{lots.grown.grain.code}/")


def test_several_codes_lead_to_how_far_they_reach(owner: Client) -> None:
    lots = season()
    codes = f"{lots.packs.code}, {lots.seconds.code}"
    page = owner.get("/trace/", {"code": codes}, follow=True).content.decode()

    assert "How far it reaches" in page
    assert "These lots alone" in page


def test_an_inspector_traces_and_neither_reaches_nor_holds(inspector: Client) -> None:
    lots = season()
    address = f"/trace/?codes={lots.packs.code}"
    form = {"reason": "a smell", "uuid": str(uuid4())}

    assert "or of several" not in read(inspector, "/trace/")
    assert inspector.get(address).status_code == 403
    assert inspector.post(address, form).status_code == 403
    assert inspector.post(address, {**form, "do": "recall"}).status_code == 403
    assert not Mark.objects.exists()


# --- hold -------------------------------------------------------------------------------------


def hold_all(client: Client, lot: Lot, reason: str = "a smell") -> str:
    form = {"reason": reason, "uuid": str(uuid4())}
    response = client.post(f"/trace/?codes={lot.code}", form, follow=True)
    return response.content.decode()


def test_one_tap_holds_everything_downstream_and_still_here(helper: Client) -> None:
    lots = season()
    here = {lot.code for lot in reached(lots.grown.grain).still_here}
    hold_all(helper, lots.grown.grain)
    entry = Entry.objects.get(kind="hold")

    assert set(entry.marks.values_list("lot__code", flat=True)) == here
    assert set(Lot.objects.filter(held=True).values_list("code", flat=True)) == here
    assert entry.reason == "a smell"


def test_the_book_refuses_to_sell_what_is_held(owner: Client) -> None:
    lots = season()
    hold_all(owner, lots.grown.grain)
    world = lots.world

    with pytest.raises(OnHold):
        sell(
            world.doing(),
            place=world.kitchens,
            customer=world.customer,
            lines=[SoldLine(fresh(lots.packs), 1, 4 * UNIT)],
        )


def test_a_hold_needs_its_reason(owner: Client) -> None:
    lots = season()

    assert "needs its reason" in hold_all(owner, lots.packs, reason="")
    assert not Mark.objects.exists()


def test_a_second_hold_takes_only_what_is_free(owner: Client) -> None:
    lots = season()
    hold(lots.world.doing(reason="first"), [fresh(lots.packs)])
    hold_all(owner, lots.grown.grain)
    last = Entry.objects.filter(kind="hold").last()

    assert last
    assert lots.packs.code not in set(last.marks.values_list("lot__code", flat=True))
    assert "nothing was put on hold" in hold_all(owner, lots.grown.grain)


def test_a_hold_sent_twice_is_one_entry(owner: Client) -> None:
    lots = season()
    form = {"reason": "a smell", "uuid": str(uuid4())}
    for _ in range(2):
        owner.post(f"/trace/?codes={lots.grown.grain.code}", form)

    assert Entry.objects.filter(kind="hold").count() == 1


def test_a_reader_holds_nothing(reader: Client) -> None:
    lots = season()
    form = {"reason": "a smell", "uuid": str(uuid4())}

    assert reader.post(f"/trace/?codes={lots.packs.code}", form).status_code == 403
    assert reader.get(f"/trace/?codes={lots.packs.code}").status_code == 403


def test_what_is_on_hold_is_listed_with_who_and_why(owner: Client) -> None:
    lots = season()
    hold_all(owner, lots.packs, "a smell in the fridge")
    page = read(owner, "/holds/")

    assert lots.packs.code in page
    assert "a smell in the fridge" in page
    assert "OL" in page


def test_what_was_picked_of_held_blocks_is_listed_as_born_on_hold(owner: Client) -> None:
    world = small_farm()
    blocks = fruiting(world, 4)
    hold(world.doing(reason="a smell"), [blocks])
    pick(replace(world.doing(), sure=True), given=[Draw(blocks, 0)], flush=1, firsts_mg=KG)

    assert "made of a lot on hold" in read(owner, "/holds/")


def test_a_release_needs_its_reason(owner: Client) -> None:
    lots = season()
    hold_all(owner, lots.packs)
    form = {"lot": lots.packs.code, "uuid": str(uuid4())}
    page = owner.post("/holds/", {**form, "reason": ""}, follow=True).content.decode()

    assert "A release needs its reason" in page
    assert fresh(lots.packs).held
    owner.post("/holds/", {**form, "reason": "the fridge was cleaned"})
    assert not fresh(lots.packs).held


def test_a_reader_releases_nothing(reader: Client) -> None:
    lots = season()
    hold(lots.world.doing(reason="a smell"), [fresh(lots.packs)])
    form = {"lot": lots.packs.code, "uuid": str(uuid4()), "reason": "fine"}
    reader.post("/holds/", form)

    assert fresh(lots.packs).held
