"""The bad year as events: they validate, and alone they give the book's graph and what is left."""

from tests.farm.epcis_reader import Document, standing
from tests.year.test_epcis import (
    pytestmark,
    test_every_event_has_an_identity_of_its_own,
    test_it_validates_against_the_standards_schema,
    test_the_document_alone_gives_every_edge,
    test_the_document_alone_gives_every_lot_and_what_is_left_of_it,
    test_the_document_alone_gives_what_each_edge_carries,
    test_the_document_alone_says_on_which_shelf_what_is_left_stands,
    test_what_went_into_a_process_is_all_on_its_edges,
    year,
)

__all__ = [
    "pytestmark",
    "test_every_event_has_an_identity_of_its_own",
    "test_it_validates_against_the_standards_schema",
    "test_the_document_alone_gives_every_edge",
    "test_the_document_alone_gives_every_lot_and_what_is_left_of_it",
    "test_the_document_alone_gives_what_each_edge_carries",
    "test_the_document_alone_says_on_which_shelf_what_is_left_stands",
    "test_what_went_into_a_process_is_all_on_its_edges",
    "year",
]


def test_what_is_gone_was_given_away_missed_or_destroyed_as_it_was_told(year: Document) -> None:
    """A sample, two gifts; two packs counted short; 40 packs soaked, 40 blocks lost to mould.

    Spent: 40 of two days, 40 of a late pick, 10 with trim, 10 without a pick.
    """
    gone: dict[tuple[str, str, str], float] = {}
    for event in standing(year):
        if event.get("action") == "DELETE":
            key = event["farm:kind"], event["bizStep"], event.get("farm:cause", "")
            gone[key] = gone.get(key, 0) + sum(one["quantity"] for one in event["quantityList"])

    assert gone == {
        ("give away", "dispensing", "sample"): 1,
        ("give away", "dispensing", "gift"): 2,
        ("count", "cycle_counting", ""): 2,
        ("throw away", "destroying", ""): 40,
        ("check", "destroying", ""): 40,
        ("spent", "destroying", ""): 100,
    }
