"""Each deed as its event of EPCIS 2.0 (ISO/IEC 19987); corrections as error declarations."""

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from jsonschema import FormatChecker

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.recording.correcting import correct_quantity, undo
from farm.actions.selling.giving import give_away
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.tracing.holding import hold, release
from farm.exchange import steps
from farm.exchange.amounts import CELSIUS, MINUTE, PASCAL, UNITS
from farm.exchange.choosing import asked_between
from farm.exchange.epcis import document
from farm.kinds import KINDS
from farm.kinds.kind import Step
from farm.models import StallDay
from ledger.models import Entry, Lot, Role
from tests.conftest import signed_in
from tests.farm.epcis_reader import (
    SCHEMA,
    Document,
    Event,
    as_read,
    errors_in,
    events_in,
    graph_of,
    needs_schema,
    standing,
)
from tests.farm.goods import crop, packs
from tests.farm.season import season
from tests.farm.world import GRAM, KG, UNIT, World, fresh, fruiting, picked
from tests.published import UNECE_SYMBOLS


def all_events() -> Document:
    return as_read(document(asked_between(None, None).entries, timezone.now()))


def events_of(entry: Entry) -> list[Event]:
    return [event for event in events_in(all_events()) if event["farm:entry"] == entry.seq]


def amounts(event: Event, side: str = "quantityList") -> dict[str, tuple[float, str]]:
    """By lot code: how much, and in which unit."""
    return {
        stated["epcClass"].rsplit("/", 1)[1]: (stated["quantity"], stated.get("uom", ""))
        for stated in event[side]
    }


# --- a season, deed by deed ------------------------------------------------------------------


@needs_schema
def test_a_season_with_returns_and_losses_validates(db: None) -> None:
    season()

    assert errors_in(all_events()) == []


def test_a_season_leaves_what_the_book_holds(db: None) -> None:
    season(spent=False)
    left = {
        code: quantity for code, quantity in graph_of(all_events()).quantity.items() if quantity
    }

    assert left == dict(Lot.objects.exclude(quantity=0).values_list("code", "quantity"))


def test_a_delivery_comes_in_with_the_suppliers_lot_and_name(world: World) -> None:
    sack = world.received("sawdust", 25 * KG)
    (event,) = events_of(sack.made_by)

    assert (event["type"], event["action"], event["bizStep"]) == ("ObjectEvent", "ADD", "receiving")
    assert amounts(event) == {sack.code: (25, "KGM")}
    assert event["ilmd"]["farm:supplierLot"] == "sawdust 26-31"
    assert event["sourceList"][0]["source"] == (
        f"https://farm.example/supplier/{world.supplier.pk}"
    )
    assert event["eventID"] == f"urn:uuid:{sack.made_by.uuid}"
    # 7 September 2026, 9:00 UTC is 11:00 in Madrid.
    assert (event["eventTime"], event["eventTimeZoneOffset"]) == (
        "2026-09-07T11:00:00+02:00",
        "+02:00",
    )


def test_a_pick_takes_its_weight_from_blocks_that_stay(world: World) -> None:
    lot = picked(world, 10 * KG)
    (event,) = events_of(lot.made_by)
    blocks = Lot.objects.get(edges_out__dst=lot)

    assert amounts(event, "inputQuantityList") == {blocks.code: (10, "KGM")}
    assert amounts(event, "outputQuantityList") == {lot.code: (10, "KGM")}
    assert event["ilmd"]["farm:flush"] == 1
    assert graph_of(all_events()).quantity[blocks.code] == 40


def test_a_steriliser_run_states_its_readings(world: World) -> None:
    fruiting(world)
    run = Entry.objects.filter(kind="steriliser run").latest("seq")
    (event,) = events_of(run)

    assert event["action"] == "OBSERVE"
    assert event["farm:steriliser"] == "Steam drum"
    assert event["sensorElementList"][0]["sensorReport"] == [
        {"type": "Pressure", "value": 103_000, "uom": "PAL", "farm:basis": "gauge"},
        {"type": "Time", "value": 150, "uom": "MIN"},
    ]


def test_drying_states_its_temperature_in_the_process(db: None) -> None:
    dried = season().dried
    (event,) = events_of(dried.made_by)

    assert amounts(event, "inputQuantityList").popitem()[1] == (1, "KGM")
    assert amounts(event, "outputQuantityList") == {dried.code: (0.11, "KGM")}
    assert event["sensorElementList"][0]["sensorReport"] == [
        {"type": "Temperature", "value": 45, "uom": "CEL"},
        {"type": "Time", "value": 600, "uom": "MIN"},
    ]


def test_a_customer_is_shipped_to_by_number(db: None) -> None:
    sold = season()
    (event,) = events_of(sold.delivery.entry)

    assert (event["bizStep"], event["action"]) == ("shipping", "OBSERVE")
    (party,) = event["destinationList"]
    assert party["destination"].endswith(f"/customer/{sold.world.customer.number}")
    assert sold.world.customer.name not in json.dumps(all_events())


def test_a_stall_states_its_load_its_sales_and_what_came_back(db: None) -> None:
    """Took 10, brought back 4, sold 6."""
    stall = season().stall.entry
    (load,) = events_of(Entry.objects.get(kind="load stall"))
    back, sold = events_of(stall)

    steps_taken = [(e["bizStep"], e["quantityList"][0]["quantity"]) for e in (load, back, sold)]
    assert steps_taken == [("loading", 10), ("unloading", 4), ("retail_selling", 6)]
    assert sold["action"] == "DELETE"


def test_what_comes_back_comes_from_the_customer_of_its_sale(db: None) -> None:
    season()
    (event,) = events_of(Entry.objects.get(kind="take back"))

    assert (event["bizStep"], event["disposition"]) == ("receiving", "returned")
    assert event["sourceList"][0]["type"] == "owning_party"


def test_water_is_told_apart_from_what_nobody_can_explain(db: None) -> None:
    """2 kg weighed 1.9 after two days at 6 %: inside the band, so it is water."""
    season()
    seen, water = events_of(Entry.objects.get(kind="weigh again"))

    assert seen["quantityList"][0]["quantity"] == 1.9
    assert (water["action"], water["farm:cause"]) == ("DELETE", "water")


def test_what_is_thrown_away_is_destroyed(db: None) -> None:
    season()
    (event,) = events_of(Entry.objects.get(kind="throw away"))

    assert (event["action"], event["bizStep"]) == ("DELETE", "destroying")
    assert event["farm:reason"] == "unsold"


def test_what_is_given_away_is_dispensed_and_did_not_come_back(world: World) -> None:
    """CBV 2.0: dispensing makes a product available to a consumer; it is not destroying."""
    lot = packs(world, 40)
    doing = world.doing(minutes=0)
    load_stall(doing, place=world.stall, day=doing.day, lines=[Draw(lot, 40)])
    stall_day = StallDay.objects.get()
    given = {"sample": [Draw(lot, 1)], "gift": [Draw(lot, 2)]}
    settled = settle_stall(
        world.doing(minutes=0), stall_day=stall_day, brought_back={lot.pk: 9}, prices={},
        besides=Besides(given=given),
    ).entry  # fmt: skip
    give_away(world.doing(reason="late supper"), why="own use", draws=[Draw(lot, 3)])
    told = all_events()
    away = [one for one in events_in(told) if one["farm:kind"] == "give away"]

    # 40 loaded, 28 sold, 1 and 2 given, 9 brought back; then 3 of those eaten, 6 are left.
    assert {(one["bizStep"], one["disposition"], one["action"]) for one in away} == {
        ("dispensing", "dispensed", "DELETE")
    }
    said = [(one["farm:cause"], one["quantityList"][0]["quantity"]) for one in away]
    assert sorted(said) == [("gift", 2.0), ("own use", 3.0), ("sample", 1.0)]
    assert len({one["readPoint"]["id"] for one in away}) == 2  # the stall, and the farm
    (back,) = [one for one in events_of(settled) if one["bizStep"] == "unloading"]
    assert amounts(back) == {lot.code: (9, "")}
    assert graph_of(told).quantity[lot.code] == fresh(lot).quantity == 6


@needs_schema
def test_what_is_given_away_validates(world: World) -> None:
    give_away(world.doing(), why="sample", draws=[Draw(packs(world), 3)])

    assert errors_in(all_events()) == []


def test_a_hold_is_set_and_unset(world: World) -> None:
    lot = picked(world)
    held = hold(world.doing(reason="musty"), [lot]).entry
    released = release(world.doing(reason="only dusty"), [lot]).entry

    assert events_of(held)[0]["persistentDisposition"] == {"set": ["non_sellable_other"]}
    assert events_of(released)[0]["persistentDisposition"] == {"unset": ["non_sellable_other"]}


def test_a_check_that_splits_a_lot_makes_one_of_the_other(world: World) -> None:
    blocks = fruiting(world)
    doing = world.doing(reason="green mould")
    entry = check(doing, lot=blocks, colonised_percent=90, passed=18, lost=2).entry
    made, lost = events_of(entry)

    assert amounts(made, "inputQuantityList") == {blocks.code: (20, "")}
    assert made["farm:colonisedPercent"] == 90
    assert lost["quantityList"][0]["quantity"] == 2


def test_what_is_counted_up_is_added_before_it_is_sold(world: World) -> None:
    lot = crop(world, 1 * KG)
    lines = [SoldLine(lot, 1_500 * GRAM, 10 * UNIT)]
    entry = sell(world.doing(minutes=1), place=world.stall, lines=lines, count_up=True).entry
    counted, sold = events_of(entry)

    assert (counted["action"], counted["bizStep"]) == ("ADD", "cycle_counting")
    assert [e["quantityList"][0]["quantity"] for e in (counted, sold)] == [0.5, 1.5]


# --- corrections -----------------------------------------------------------------------------


def test_a_correction_declares_the_error_and_names_the_right_event(world: World) -> None:
    """12.4 kg picked, corrected to 5.6 kg."""
    lot = picked(world, 12_400 * GRAM)
    doing = world.doing(reason="read in pounds")
    amended = correct_quantity(
        doing, lot.made_by, lot=lot, role=Role.MADE, right_quantity=5_600 * GRAM
    )
    first, wrong, right = events_of(lot.made_by)

    error = wrong.pop("errorDeclaration")
    assert wrong == first
    assert (error["reason"], error["farm:reason"]) == ("incorrect_data", "read in pounds")
    assert error["correctiveEventIDs"] == [right["eventID"]]
    assert right["eventID"] == f"urn:uuid:{amended.entry.uuid}"
    assert right["eventTime"] == first["eventTime"]
    assert amounts(right, "outputQuantityList") == {lot.code: (5.6, "KGM")}


def test_a_second_correction_declares_the_first_an_error(world: World) -> None:
    lot = picked(world, 12_400 * GRAM)
    for mass_mg in (5_600 * GRAM, 5_700 * GRAM):
        correct_quantity(
            world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=mass_mg
        )

    declared = [event for event in events_of(lot.made_by) if "errorDeclaration" in event]
    assert len(declared) == 2
    assert graph_of(all_events()).quantity[lot.code] == 5_700_000


def test_taking_a_corrected_entry_back_declares_what_stands_only(world: World) -> None:
    lot = picked(world, 12_400 * GRAM)
    correct_quantity(world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=5 * KG)
    undo(world.doing(reason="other blocks"), lot.made_by)
    events = events_of(lot.made_by)

    reasons = [e["errorDeclaration"]["reason"] for e in events if "errorDeclaration" in e]
    assert reasons == ["incorrect_data", "did_not_occur"]
    assert [e for e in standing(all_events()) if e["farm:entry"] == lot.made_by_id] == []


def test_a_corrected_price_is_no_event(world: World) -> None:
    sack = world.received("sawdust", 25 * KG)
    correct_quantity(
        world.doing(), sack.made_by, lot=sack, role=Role.BOUGHT, right_quantity=25 * KG,
        right_money=UNIT,
    )  # fmt: skip

    assert len(events_of(sack.made_by)) == 1


@needs_schema
def test_corrections_validate(world: World) -> None:
    lot = picked(world, 12_400 * GRAM)
    correct_quantity(world.doing(), lot.made_by, lot=lot, role=Role.MADE, right_quantity=5 * KG)
    undo(world.doing(), lot.made_by)

    assert errors_in(all_events()) == []


# --- the schema sees what it must see --------------------------------------------------------


def test_formats_are_checked_at_all() -> None:
    assert "uri" in FormatChecker().checkers


# What the schema must refuse in a document of ours; the cases are those of the standard's text.
TRAPS: dict[str, Callable[[Event], Any]] = {
    "a step that the vocabulary lacks": lambda event: event.update(bizStep="harvesting"),
    "a plain key of our own": lambda event: event.update(note="fresh"),
    "a lot that is no address": lambda event: event["quantityList"][0].update(epcClass="H 1"),
    "birth facts of what is only seen": lambda event: event.update(action="OBSERVE"),
    "no offset of the time zone": lambda event: event.pop("eventTimeZoneOffset"),
    "a unit in small letters": lambda event: event["quantityList"][0].update(uom="kg"),
    "a quantity as words": lambda event: event["quantityList"][0].update(quantity="25"),
    "a declaration without its time": lambda event: event.update(
        errorDeclaration={"reason": "did_not_occur"}
    ),
}


@needs_schema
@pytest.mark.parametrize("trap", TRAPS.values(), ids=list(TRAPS))
def test_the_schema_refuses(world: World, trap: Callable[[Event], Any]) -> None:
    world.received("sawdust", 25 * KG)
    right = all_events()
    wrong = copy.deepcopy(right)
    trap(events_in(wrong)[0])

    assert errors_in(right) == []
    assert errors_in(wrong) != []


@needs_schema
def test_the_schema_refuses_a_process_without_an_outcome_or_a_name(world: World) -> None:
    lot = picked(world)
    wrong = all_events()
    (event,) = [e for e in events_in(wrong) if e["farm:entry"] == lot.made_by_id]
    del event["outputQuantityList"]

    assert errors_in(wrong) != []


@needs_schema
def test_every_word_of_ours_is_the_standards() -> None:
    defined = json.loads(SCHEMA.read_text())["definitions"]
    known = {name: defined[name]["anyOf"][1]["enum"] for name in ("bizStep", "disposition")}
    of_kinds = [step for kind in KINDS for step in (kind.made, kind.seen)]
    for step in [value for value in vars(steps).values() if isinstance(value, Step)] + of_kinds:
        assert step.biz_step in known["bizStep"]
        assert step.disposition in ("", *known["disposition"])


def test_units_are_codes_in_force() -> None:
    codes = {*(code for code, _ in UNITS.values()), CELSIUS, PASCAL, MINUTE}
    assert codes == set(UNECE_SYMBOLS)


# --- taking it away --------------------------------------------------------------------------


def test_the_command_writes_a_lots_trace(world: World, tmp_path: Path) -> None:
    lot = picked(world)
    world.received("sawdust", KG)
    out = tmp_path / "events.jsonld"
    call_command("events", "--out", str(out), "--lot", lot.code.lower())

    written = json.loads(out.read_text())
    assert written["type"] == "EPCISDocument"
    assert len(events_in(written)) < len(events_in(all_events()))


def test_the_command_refuses_days_and_lots_at_once(world: World, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="not both"):
        call_command("events", "--out", str(tmp_path / "x"), "--lot", "K", "--from", "2026-01-01")


def test_the_page_hands_the_events_over(world: World) -> None:
    client = signed_in(world.helper)
    world.received("sawdust", KG)
    response = client.get("/take-away/", {"take": "events", "first": "2026-09-07"})

    assert response["Content-Type"] == "application/ld+json"
    assert len(events_in(response.json())) == 1


def test_the_page_says_which_code_no_lot_has(world: World) -> None:
    response = signed_in(world.helper).get("/take-away/", {"take": "events", "lot": "ZZZZZ"})

    assert response.status_code == 422
    assert "No lot has the code “ZZZZZ”" in response.content.decode()
