"""Another's row is not found: a seller's stall is their own, an inspector sees a span of days.

September 2026 is the inspector's span; the season picks, packs and sells in October.
"""

import json
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO

import pytest
from django.test import Client
from openpyxl import load_workbook

from farm.actions.common import Draw
from farm.actions.recording.correcting import correct_quantity
from farm.actions.selling.stalls import load_stall
from farm.models import Person, Role
from farm.records import CLEANING
from ledger.models import Lot
from ledger.models import Role as LineRole
from tests.conftest import person_in_role, signed_in
from tests.farm.everything import MARKET_DAY, stall_load
from tests.farm.filled import text
from tests.farm.kept import cleaned, keep
from tests.farm.season import Season, season
from tests.farm.world import GRAM, fresh

SEPTEMBER = {
    "from_day": date(2026, 9, 1), "until_day": date(2026, 9, 30), "expires_on": date(2099, 1, 1),
}  # fmt: skip


# --- a seller ----------------------------------------------------------------------------------


@dataclass
class Stalls:
    lots: Season
    seller: Client
    own: int
    others: int


@pytest.fixture
def stalls(db: None) -> Stalls:
    """Selma loads two packs; the owner has a load of their own waiting beside it."""
    lots, selma = season(), person_in_role(Role.SELLER, "selma")
    own = stall_load(lots, selma, lots.packs, 2)
    others = stall_load(lots, lots.world.owner, lots.seconds, 100 * GRAM)
    return Stalls(lots, signed_in(selma), own.pk, others.pk)


def test_a_seller_opens_the_till_of_their_own_stall_alone(stalls: Stalls) -> None:
    statuses = [
        stalls.seller.get(f"/stall/till/{pk}/").status_code for pk in (stalls.own, stalls.others)
    ]

    assert statuses == [200, 404]


def test_a_seller_is_not_shown_what_anothers_stall_took(stalls: Stalls) -> None:
    settled = stalls.lots.stall.entry.seq

    assert stalls.seller.get(f"/stall/{settled}/").status_code == 404
    assert stalls.seller.get(f"/entries/{settled}/").status_code == 404


def test_a_seller_cannot_settle_anothers_load(stalls: Stalls) -> None:
    offered = text(stalls.seller.get("/record/settle-stall/"))
    asked = text(stalls.seller.get(f"/record/settle-stall/?stall_day={stalls.others}"))

    assert f'value="{stalls.own}"' in offered
    assert f'value="{stalls.others}"' not in offered
    assert "Select a valid choice" in asked


def test_a_seller_finds_the_lots_of_their_load_alone(stalls: Stalls) -> None:
    packs, seconds = stalls.lots.packs.code, stalls.lots.seconds.code

    assert stalls.seller.get(f"/lots/{packs}/").status_code == 200
    assert stalls.seller.get(f"/lots/{seconds}/").status_code == 404
    assert seconds not in text(stalls.seller.get("/lots/?on_hand="))


def test_a_seller_loads_for_stalls_alone(stalls: Stalls) -> None:
    offered = text(stalls.seller.get("/record/load-stall/"))

    assert "Saturday market" in offered
    assert "Kitchens" not in offered


def test_a_stall_loaded_for_somebody_is_theirs(stalls: Stalls) -> None:
    world, selma = stalls.lots.world, Person.objects.get(user__username="selma")
    loaded = load_stall(
        world.doing(sure=True),
        place=world.stall,
        day=MARKET_DAY,
        lines=[Draw(fresh(stalls.lots.packs), 1)],
        seller=selma,
    ).entry

    assert stalls.seller.get(f"/stall/till/{loaded.stall_day.pk}/").status_code == 200


# --- an inspector ------------------------------------------------------------------------------


@pytest.fixture
def inspected(db: None) -> Season:
    return season()


@pytest.fixture
def inspector(inspected: Season) -> Client:
    person = person_in_role(Role.INSPECTOR, "inga")
    Person.objects.filter(pk=person.pk).update(**SEPTEMBER)
    return signed_in(person)


def test_an_inspector_opens_entries_of_the_span_alone(inspected: Season, inspector: Client) -> None:
    inside, outside = inspected.grown.bags.made_by_id, inspected.delivery.entry.seq

    assert inspector.get(f"/entries/{inside}/").status_code == 200
    assert inspector.get(f"/entries/{outside}/").status_code == 404


def test_a_list_and_its_spreadsheet_hold_the_span_alone(
    inspected: Season, inspector: Client
) -> None:
    sheet = load_workbook(BytesIO(inspector.get("/entries/?take=xlsx").content))["Entries"]
    done_on = next(cell.column_letter for row in sheet for cell in row if cell.value == "Done on")
    days = {cell.value for cell in sheet[done_on] if isinstance(cell.value, datetime)}
    page = text(inspector.get("/entries/"))

    assert {(day.year, day.month) for day in days} == {(2026, 9)}
    assert f'href="/entries/{inspected.grown.bags.made_by_id}/"' in page
    assert f'href="/entries/{inspected.delivery.entry.seq}/"' not in page


def test_an_inspector_finds_lots_of_the_span_alone(inspected: Season, inspector: Client) -> None:
    assert inspector.get(f"/lots/{inspected.grown.grain.code}/").status_code == 200
    assert inspector.get(f"/lots/{inspected.dried.code}/").status_code == 404
    assert inspector.get(f"/trace/{inspected.dried.code}/").status_code == 404


def test_a_later_correction_of_the_span_is_seen(inspected: Season, inspector: Client) -> None:
    world = inspected.world
    rye = Lot.objects.filter(item__name="rye")[0]
    done = correct_quantity(
        world.doing(reason="scale was off"),
        rye.made_by,
        lot=rye,
        role=LineRole.BOUGHT,
        right_quantity=rye.made_by.lines.get().quantity + GRAM,
    ).entry

    assert done.happened_on > SEPTEMBER["until_day"]
    assert inspector.get(f"/entries/{done.seq}/").status_code == 200


def test_a_trace_names_later_lots_and_no_later_sale(inspected: Season, inspector: Client) -> None:
    code = inspected.grown.grain.code
    page = text(inspector.get(f"/trace/{code}/"))

    assert inspected.packs.code in page
    assert inspected.world.customer.number not in page


def test_an_inspector_reads_records_of_the_span_alone(inspected: Season, inspector: Client) -> None:
    world = inspected.world
    late = cleaned(world)
    early = keep(
        world, CLEANING, at=world.now.replace(month=9, day=20), what="Table", method="washed"
    )
    listed = text(inspector.get("/records/cleaning/?first=2026-01-01&last=2026-12-31"))

    assert [inspector.get(f"/records/cleaning/{one.pk}/").status_code for one in (early, late)] == [
        200,
        404,
    ]
    assert f"/records/cleaning/{early.pk}/" in listed
    assert f"/records/cleaning/{late.pk}/" not in listed


def test_a_binder_of_days_outside_the_span_is_refused_in_words(inspector: Client) -> None:
    answer = inspector.get("/records/binder/?first=2026-11-01&last=2026-11-30&file=pdf")

    assert "shows other days: 1 Sep 2026 to 30 Sep 2026." in text(answer)


def test_the_binder_first_asks_for_days_of_the_span(inspector: Client) -> None:
    assert 'value="2026-09-30"' in inspector.get("/records/binder/").content.decode()


def test_the_binder_is_narrowed_to_the_span(inspected: Season, inspector: Client) -> None:
    asked = "/records/binder/?first=2026-01-01&last=2026-12-31&file=pdf"
    answer = inspector.get(asked)

    assert "binder-2026-09-01-2026-09-30" in answer.headers["Content-Disposition"]


def test_events_taken_away_are_of_the_span(inspected: Season, inspector: Client) -> None:
    taken = json.loads(inspector.get("/take-away/?take=events").content)
    days = {event["eventTime"][:7] for event in taken["epcisBody"]["eventList"]}

    assert days == {"2026-09"}


def test_the_last_day_to_look_ends_it(inspected: Season, inspector: Client) -> None:
    Person.objects.filter(role=Role.INSPECTOR).update(expires_on=date(2026, 10, 1))

    refused = inspector.get("/")

    assert refused.status_code == 403
    assert "Thu 1 Oct 2026 was the last day" in text(refused)


def test_an_inspector_sees_a_lot_without_its_recipe(inspected: Season, inspector: Client) -> None:
    code = inspected.grown.bags.code
    owner = signed_in(inspected.world.owner)

    assert "<dt>Recipe</dt>" in text(owner.get(f"/lots/{code}/"))
    assert "<dt>Recipe</dt>" not in text(inspector.get(f"/lots/{code}/"))
