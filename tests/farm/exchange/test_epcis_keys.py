"""Events of a farm that has GS1 keys: packs by GTIN and lot, places and partners by GLN.

The keys are made of 952, which GS1 keeps for documents and tests (from memory), with right check
digits; the shape of the addresses is that of the official examples and the syntax dictionary.
"""

from typing import Any

import pytest
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from django.utils import timezone

from farm.exchange.choosing import asked_between
from farm.exchange.epcis import document
from farm.gs1 import check_digit
from farm.models import LotCard
from ledger.models import Edge, Entry, Lot
from tests.farm.epcis_reader import (
    Document,
    Event,
    as_read,
    errors_in,
    events_in,
    graph_of,
    needs_schema,
)
from tests.farm.season import Season, season


def key(digits: str) -> str:
    return digits + check_digit(digits)


GTIN = key("0952005385001")
FARM, FRIDGE, STALL, KITCHEN, SUPPLIER = (key(f"95200538{at:04}") for at in range(10, 15))


@pytest.fixture
def keyed(db: None) -> Season:
    """A season of a farm whose packs, fridge, stall, customer and supplier have keys."""
    found = season(spent=False)
    world = found.world
    LotCard.objects.filter(product=world.product).update(gtin=GTIN)
    holders: list[tuple[Any, str]] = [
        (world.farm, FARM),
        (world.fridge_shelf.room, FRIDGE),
        (world.stall, STALL),
        (world.customer, KITCHEN),
        (world.supplier, SUPPLIER),
    ]
    for row, gln in holders:
        row.gln = gln
        row.full_clean()
        row.save()
    return found


def all_events() -> Document:
    return as_read(document(asked_between(None, None).entries, timezone.now()))


def event_of(entry: Entry) -> Event:
    return next(event for event in events_in(all_events()) if event["farm:entry"] == entry.seq)


def elements(link: str) -> list[tuple[str, str]]:
    """What another reader of Digital Links makes of an address."""
    return [(one.ai.ai, one.value) for one in GS1DigitalLinkURI.parse(link).element_strings]


def addresses(said: object) -> set[str]:
    """Every address under GS1's own domain, wherever in a document."""
    if isinstance(said, dict):
        return set().union(*map(addresses, said.values()))
    if isinstance(said, list):
        return set().union(*map(addresses, said))
    return {said} if isinstance(said, str) and said.startswith("https://id.gs1.org/") else set()


@needs_schema
def test_it_validates_too(keyed: Season) -> None:
    assert errors_in(all_events()) == []


def test_the_document_alone_still_gives_the_books_graph(keyed: Season) -> None:
    graph = graph_of(all_events())
    edges = {(src, dst) for used, made in graph.went for src in used for dst in made}

    assert edges == set(Edge.objects.values_list("src__code", "dst__code"))
    assert {code: left for code, left in graph.quantity.items() if left} == dict(
        Lot.objects.exclude(quantity=0).values_list("code", "quantity")
    )


def test_packs_are_a_class_by_gtin_and_lot(keyed: Season) -> None:
    (made,) = event_of(keyed.packs.made_by)["outputQuantityList"]

    assert made["epcClass"] == f"https://id.gs1.org/01/{GTIN}/10/{keyed.packs.code}"
    assert elements(made["epcClass"]) == [("01", GTIN), ("10", keyed.packs.code)]


def test_what_has_no_key_keeps_an_address_of_the_farms_own(keyed: Season) -> None:
    (made,) = event_of(keyed.dried.made_by)["outputQuantityList"]

    assert made["epcClass"] == f"https://farm.example/lot/{keyed.dried.code}"


def test_a_sale_names_the_farm_and_the_customer_by_gln(keyed: Season) -> None:
    shipped = event_of(keyed.delivery.entry)

    assert elements(shipped["readPoint"]["id"]) == [("414", FARM)]
    (party,) = shipped["destinationList"]
    assert (party["type"], elements(party["destination"])) == ("owning_party", [("417", KITCHEN)])


def test_a_shelf_is_a_part_of_its_room(keyed: Season) -> None:
    """The extension 254 is the farm's to choose: the shelf's number."""
    where = event_of(keyed.firsts.made_by)["bizLocation"]["id"]

    assert elements(where) == [("414", FRIDGE), ("254", str(keyed.world.fridge_shelf.pk))]


def test_a_stall_is_a_place_and_a_supplier_a_party(keyed: Season) -> None:
    load = event_of(Entry.objects.get(kind="load stall"))
    received = event_of(Entry.objects.filter(kind="receive supplies").earliest("seq"))

    assert elements(load["destinationList"][0]["destination"]) == [("414", STALL)]
    assert elements(received["sourceList"][0]["source"]) == [("417", SUPPLIER)]


def test_every_key_in_the_document_is_right_to_another_reader(keyed: Season) -> None:
    found = addresses(all_events())

    assert len(found) > 4
    for address in found:
        for element in GS1DigitalLinkURI.parse(address).element_strings:
            assert not (element.gtin_error or element.gln_error), address
