"""Suspects in fourteen weeks of the invented farm, against a graph of entries and lines alone."""

from random import Random

import pytest
from pytest_django import DjangoDbBlocker

from farm.models import LotCard, Stage
from farm.queries.tracing.suspects import suspect_supplier_lot
from tests.graph import Graph
from tests.recalled import assert_reach_is_right

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def graph(played: object, django_db_blocker: DjangoDbBlocker) -> Graph:
    with django_db_blocker.unblock():
        return Graph()


def test_a_bad_delivery_finds_every_affected_customer_and_no_other(graph: Graph) -> None:
    deliveries = LotCard.objects.filter(stage=Stage.SUPPLY).select_related("supplier")
    marks = {(card.supplier, card.supplier_lot) for card in deliveries if card.supplier}
    reached = 0
    for supplier, marked in marks:
        found = assert_reach_is_right(graph, suspect_supplier_lot(supplier, marked).lots)
        reached += len(found.recipients)

    assert reached, "the invented farm sold nothing: the test would prove nothing"


def test_any_few_lots_reach_what_the_lines_say(graph: Graph) -> None:
    chance, keys = Random(1), sorted(graph.lots)
    for at in range(40):
        assert_reach_is_right(graph, chance.sample(keys, 1 + at % 3))


def test_what_was_given_away_stands_among_the_nameless(graph: Graph) -> None:
    given = {lot for _, who, lot in graph.nameless(set(graph.lots)) if who == "own use"}
    found = assert_reach_is_right(graph, given) if given else None

    assert found is None or all(one.given.mass_mg for one in found.unnamed if one.why)
