"""Hold a reach, and a recall as it stands, against the graph that the tests build themselves."""

from collections.abc import Iterable

from farm.models import Recall
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.recalls import RecallState, open_recalls, recalls_kept, state_of
from farm.queries.tracing.suspects import Suspects
from tests.graph import Graph


def assert_reach_is_right(graph: Graph, suspects: Iterable[int]) -> Reach:
    """Lots, how sure, what is here, who received how much, and where nobody's name is known."""
    bad = set(suspects)
    found = reach_of(Suspects("some", tuple(sorted(bad))))
    lots, code = graph.ahead(bad), codes_of(graph)

    assert {lot.code for lot in found.lots} == {code[pk] for pk in lots}
    assert {lot.code for lot in found.lots if lot.certain} == {
        code[pk] for pk in graph.certain(bad)
    }
    here = graph.on_hand()
    assert {lot.code for lot in found.still_here} == {code[pk] for pk in lots if here[pk]}
    kept = {one.customer_id: one.kept_mg for one in found.recipients}
    assert kept == graph.kept_mg(lots)
    assert nameless_of(found) == {(day, who, code[pk]) for day, who, pk in graph.nameless(lots)}
    assert all(sum(one.parts) == one.whole for one in found.balances)
    return found


def nameless_of(found: Reach) -> set[tuple[object, str, str]]:
    return {(one.day, one.why or one.place, one.lot_code) for one in found.unnamed}


def assert_recalls_are_right(graph: Graph) -> list[RecallState]:
    return [assert_recall_is_right(graph, recall) for recall in recalls_kept()]


def assert_recall_is_right(graph: Graph, recall: Recall) -> RecallState:
    """What it lists, what left, what is here, whom to tell; all of it held; its standing kept."""
    state, expected, code = state_of(recall), graph.expected(recall), codes_of(graph)

    def named(lots: Iterable[int]) -> set[str]:
        return {code[pk] for pk in lots}

    assert {lot.code for lot in state.now.lots} == named(expected.lots)
    assert state.left == named(expected.left)
    assert {lot.code for lot in state.now.still_here} == named(expected.here)
    assert expected.lots <= graph.held(), named(expected.lots - graph.held())
    got = {pk: named(lots) for pk, lots in expected.customers.items()}
    got_now = {pk: set(one.codes) - state.left for pk, one in state.customers.items()}
    assert {pk: codes for pk, codes in got_now.items() if pk in got} == got
    where = {(one.why or one.place) for one in state.now.unnamed}
    assert where == set(expected.nameless)
    told = {one.whom.key for one in state.contacts if not one.struck}
    assert told >= {str(pk) for pk in got} | where
    assert (not state.to_do.here) == (not expected.here)
    standing = [to_do for found, to_do in open_recalls() if found == recall]
    assert standing == ([state.to_do] if state.is_open else [])
    listed = recall.lots.filter(left=False).values_list("lot_id", flat=True)
    assert set(listed) == expected.lots
    return state


def codes_of(graph: Graph) -> dict[int, str]:
    return {pk: lot.code for pk, lot in graph.lots.items()}
