"""Fourteen weeks of the invented farm, as events: they validate, and they are the book's graph."""

from collections import defaultdict
from datetime import date

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from farm.exchange.choosing import asked_between, asked_of_lots
from farm.exchange.epcis import document
from farm.models import Placing
from ledger.amounts import MILLION
from ledger.models import Edge, Lot
from ledger.tracing import ancestors, descendants
from tests.farm.epcis_reader import (
    Document,
    Event,
    as_read,
    choices_in,
    code_of,
    errors_in,
    events_in,
    graph_of,
    needs_schema,
    pieces_in,
    standing,
)

# What an event says is worked from rows, which either engine gives alike.
pytestmark = [pytest.mark.django_db, pytest.mark.same_on_any_engine]


@pytest.fixture(scope="module")
def year(played: object, django_db_blocker: DjangoDbBlocker) -> Document:
    with django_db_blocker.unblock():
        return as_read(document(asked_between(None, None).entries, timezone.now()))


@needs_schema
def test_it_validates_against_the_standards_schema(year: Document) -> None:
    assert errors_in(year) == []


def test_every_event_has_an_identity_of_its_own(year: Document) -> None:
    identities = [event["eventID"] for event in standing(year)]

    assert len(identities) > 200
    assert len(set(identities)) == len(identities)


def declared(year: Document, reason: str) -> Event:
    """The one event that is declared wrong for a reason."""
    found = [event for event in events_in(year) if "errorDeclaration" in event]
    (wrong,) = [event for event in found if event["errorDeclaration"]["reason"] == reason]
    return wrong


def test_what_was_taken_back_is_repeated_as_not_having_occurred(year: Document) -> None:
    wrong = declared(year, "did_not_occur")
    (plain,) = [e for e in events_in(year) if e["eventID"] == wrong["eventID"] and e is not wrong]

    assert plain == {name: said for name, said in wrong.items() if name != "errorDeclaration"}


def test_what_was_corrected_names_the_event_that_stands_in_its_place(year: Document) -> None:
    wrong = declared(year, "incorrect_data")
    (instead,) = wrong["errorDeclaration"]["correctiveEventIDs"]

    assert instead in {event["eventID"] for event in standing(year)}


def test_the_document_alone_gives_every_lot_and_what_is_left_of_it(year: Document) -> None:
    left = {code: quantity for code, quantity in graph_of(year).quantity.items() if quantity}

    assert left == dict(Lot.objects.exclude(quantity=0).values_list("code", "quantity"))


def test_the_document_alone_says_on_which_shelf_what_is_left_stands(year: Document) -> None:
    shelves = {
        code_of(stated["epcClass"]): event["bizLocation"]["id"].rpartition("/")[2]
        for event in standing(year)
        if "bizLocation" in event
        for stated in event.get("quantityList") or event["outputQuantityList"]
    }
    placed = {
        one.lot.code: str(one.shelf_id)
        for one in Placing.objects.exclude(entry__amendments__takes_back=True)
        .select_related("lot")
        .order_by("entry_id")
    }
    left = Lot.objects.exclude(quantity=0).values_list("code", flat=True)

    assert {code: shelves.get(code) for code in left} == {code: placed.get(code) for code in left}
    assert any(placed.get(code) for code in left)


def test_the_document_alone_gives_every_edge(year: Document) -> None:
    found = {(src, dst) for used, made in graph_of(year).went for src in used for dst in made}

    assert found == set(Edge.objects.values_list("src__code", "dst__code"))


def test_the_document_alone_gives_what_each_edge_carries(year: Document) -> None:
    """The book splits whole numbers and hands out remainders; a plain share is within one."""
    assert off_by_more_than_one(year, expected_edges(year)) == []


def test_what_went_into_a_process_is_all_on_its_edges(year: Document) -> None:
    stated: dict[str, int] = defaultdict(int)
    for used, _ in graph_of(year).went:
        for src, quantity in used.items():
            stated[src] += quantity
    carried = Edge.objects.values_list("src__code").annotate(Sum("quantity")).order_by()

    assert stated == dict(carried)


def test_a_trace_holds_every_edge_behind_and_after_its_lot(year: Document) -> None:
    lot = Lot.objects.filter(card__stage=6, edges_out__isnull=False).earliest("pk")
    traced = as_read(document(asked_of_lots([lot]).entries, timezone.now()))
    lots = descendants([lot.pk]) | ancestors([lot.pk])
    edges = Edge.objects.filter(src__in=lots, dst__in=lots)
    found = {(src, dst) for used, made in graph_of(traced).went for src in used for dst in made}

    assert set(edges.values_list("src__code", "dst__code")) <= found
    assert len(events_in(traced)) < len(events_in(year)) / 2


@needs_schema
def test_a_trace_validates_too(year: Document) -> None:
    lot = Lot.objects.filter(card__stage=9).latest("pk")

    assert errors_in(document(asked_of_lots([lot]).entries, timezone.now())) == []


def test_a_span_holds_its_days_only(year: Document) -> None:
    week = asked_between(date(2026, 2, 9), date(2026, 2, 15))
    days = {e["eventTime"][:10] for e in events_in(document(week.entries, timezone.now()))}

    assert days and min(days) >= "2026-02-09" and max(days) <= "2026-02-15"


def test_queries_do_not_grow_with_the_span(year: Document) -> None:
    def asked(first: date | None, last: date | None) -> int:
        with CaptureQueriesContext(connection) as queries:
            document(asked_between(first, last).entries, timezone.now())
        return len(queries)

    # What was given away is read since it is told of: once by itself, once for stall days.
    assert asked(None, None) == asked(date(2026, 4, 1), date(2026, 5, 31)) == 10


def test_times_carry_the_farms_own_offset_in_winter_and_in_summer(year: Document) -> None:
    offsets = {(event["eventTimeZoneOffset"], event["eventTime"][-6:]) for event in events_in(year)}

    assert offsets == {("+00:00", "+00:00"), ("+01:00", "+01:00")}


def expected_edges(year: Document) -> dict[tuple[str, str], tuple[int, int]]:
    """Share what went in by what came out, and what came out by what went in in its place.

    In millionths of a unit, so that sharing rounds away nothing that matters.
    """
    choices, pieces_mg = choices_in(year), pieces_in(year)
    edges: dict[tuple[str, str], tuple[int, int]] = defaultdict(lambda: (0, 0))
    for used, made in graph_of(year).went:
        # Blocks give weight; else pieces weigh something, as packs among loose crop do.
        weights = {
            src: quantity * (pieces_mg[src] if choices[src] == "crop" else 1)
            for src, quantity in used.items()
        }
        of_choice: dict[str, int] = defaultdict(int)
        for src, weight in weights.items():
            of_choice[choices[src]] += weight
        for src, quantity in used.items():
            for dst, whole in made.items():
                share = quantity * whole * MILLION // sum(made.values())
                part = whole * weights[src] * MILLION // of_choice[choices[src]]
                before = edges[src, dst]
                edges[src, dst] = (before[0] + share, before[1] + part)
    return edges


def off_by_more_than_one(
    year: Document, expected: dict[tuple[str, str], tuple[int, int]]
) -> list[str]:
    rows = Edge.objects.values_list("src__code", "dst__code", "quantity", "part")
    return [
        f"{src} into {dst}"
        for src, dst, quantity, part in rows
        if abs(quantity * MILLION - expected[src, dst][0]) > MILLION
        or abs(part * MILLION - expected[src, dst][1]) > MILLION
    ]
