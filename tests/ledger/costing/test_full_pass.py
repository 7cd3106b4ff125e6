"""The oracle: rebuilding changes nothing, and repairs what was damaged."""

import pytest

from ledger import full_pass
from ledger.models import Edge, Flow, Lot, Role
from ledger.story import read_story
from tests.ledger.shorthand import (
    KG,
    UNIT,
    amend,
    assert_book_is_sound,
    bought,
    line,
    loses,
    made_of,
    pick,
    pieces,
    put,
    sold,
    spent,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def sack() -> Lot:
    sack = bought(KG, 50 * UNIT)
    blocks = made_of(sack, KG // 2, pieces(), 10, planned_loss_ppm=100_000)
    put(loses(blocks, 2))
    first = pick(blocks, 500, 200)
    sold(first, 100)
    amend(sack.made_by, line(sack, Role.BOUGHT, 1_000, money=77))
    spent(blocks, 8)
    return sack


def kept() -> tuple[object, ...]:
    return (
        full_pass.kept_flows(),
        full_pass.kept_edges(),
        list(Lot.objects.order_by("pk").values("quantity", "materials", "shares_open", "held")),
    )


def test_the_full_pass_agrees_with_what_was_worked_step_by_step(sack: Lot) -> None:
    story = read_story()
    assert full_pass.flows_of(story, full_pass.work_all(story)) == full_pass.kept_flows()
    assert full_pass.all_edges() == full_pass.kept_edges()


def test_the_full_pass_reads_the_story_where_none_is_given(sack: Lot) -> None:
    # 1 kg bought, half of it used, 1,000 mg more by the correction.
    lives = full_pass.work_all()
    assert lives[sack.pk].quantity == 501_000
    assert len(lives) == 3


def test_rebuilding_changes_nothing(sack: Lot) -> None:
    before = kept()
    full_pass.rebuild()
    assert before == kept()


def test_rebuilding_repairs_what_is_worked(sack: Lot) -> None:
    before = kept()
    Flow.objects.filter(role=Role.SOLD).update(materials=5)
    Edge.objects.all().delete()
    Lot.objects.update(quantity=3)
    full_pass.rebuild()
    assert before == kept()
    assert_book_is_sound()
