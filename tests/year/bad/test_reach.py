"""Reach and recalls of the bad year, against a graph built from entries and lines alone."""

from random import Random

import pytest

from farm.models import Stage
from ledger.models import Lot
from tests.graph import Graph
from tests.recalled import assert_reach_is_right, assert_recalls_are_right
from tests.year.bad.conftest import BadYear

pytestmark = pytest.mark.django_db
SUSPECTS = 40


def test_whatever_is_suspect_the_graph_reaches_the_same(bad: BadYear) -> None:
    graph, dice = Graph(), Random(11)
    lots = list(Lot.objects.order_by("pk").values_list("pk", flat=True))
    reached = [assert_reach_is_right(graph, [lot]) for lot in dice.sample(lots, SUSPECTS)]
    reached += [assert_reach_is_right(graph, dice.sample(lots, 3)) for _ in range(SUSPECTS // 4)]

    assert sum(len(found.lots) for found in reached) > SUSPECTS * 2


def test_every_grain_and_every_block_reaches_what_was_made_of_it(bad: BadYear) -> None:
    graph = Graph()
    for lot in Lot.objects.filter(card__stage__in=(Stage.SPAWN, Stage.BLOCKS)):
        assert_reach_is_right(graph, [lot.pk])


def test_the_recall_lists_what_the_graph_lists(bad: BadYear) -> None:
    assert len(assert_recalls_are_right(Graph())) == 1
