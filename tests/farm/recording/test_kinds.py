"""Each kind of entry is declared once, and everything else finds it there."""

import copy
from collections import Counter

import pytest

from farm.actions.common import post
from farm.actions.store.storing import throw_away
from farm.kinds import BY_NAME, KINDS, TIMED, kind_named
from farm.kinds.growing import CHECK, PICK
from farm.kinds.kind import Kind
from farm.kinds.selling import DELIVER, SELL
from farm.pages.all_actions import DEEDS
from farm.queries.entries import correctable
from ledger.drafts import LineDraft, canonical
from ledger.models import Line, Role
from tests.farm.goods import crop
from tests.farm.season import season
from tests.farm.world import World


def test_no_two_kinds_share_a_name_or_an_address() -> None:
    assert max(Counter(kind.name for kind in KINDS).values()) == 1
    assert max(Counter(kind.slug for kind in KINDS).values()) == 1


def test_a_kind_is_its_name_in_the_book() -> None:
    assert (CHECK == "check", {"check": 1}[CHECK], f"{CHECK}") == (True, 1, "check")
    assert canonical({"kind": CHECK}) == '{"kind":"check"}'


def test_a_copied_kind_keeps_what_is_said_of_it() -> None:
    assert copy.deepcopy(PICK).words == "Pick"


def test_a_kind_that_is_no_longer_declared_has_its_name_alone() -> None:
    gone = kind_named("burn incense")

    assert (gone, gone.slug, gone.usual, gone.stages) == ("burn incense", "burn-incense", None, ())


def test_a_delivery_is_entered_and_charged_as_a_sale() -> None:
    assert (DELIVER.of_entry, DELIVER.takes_time, SELL.of_entry) == (SELL, True, SELL)
    assert DELIVER.name not in TIMED


def test_every_kind_that_has_words_has_its_form_in_the_order_of_the_work() -> None:
    assert [deed.kind for deed in DEEDS] == [kind for kind in KINDS if kind.words]


def test_every_form_records_a_kind_of_the_registry() -> None:
    assert all(BY_NAME[deed.kind.name] is deed.kind for deed in DEEDS)
    assert isinstance(kind_named("pick"), Kind)


def test_a_number_can_be_corrected_where_its_kind_says_so(world: World) -> None:
    lot = crop(world)
    thrown = throw_away(world.doing(reason="mould"), lot=lot, quantity=100).entry
    whispered = post(world.doing(), Kind("whisper"), [LineDraft(lot, Role.LOST, -100)]).entry

    assert [line.role for line in correctable(thrown)] == [Role.LOST]
    assert correctable(whispered) == []


@pytest.mark.django_db
def test_every_number_of_a_season_can_be_corrected_but_what_came_back_or_was_counted() -> None:
    season()
    lines = Line.objects.filter(entry__amends=None).exclude(quantity=0, given_mg=0)
    written = set(lines.values_list("entry__kind", "role"))
    closed = {(kind, role) for kind, role in written if role not in kind_named(kind).corrects}

    assert len(written) > 15
    assert {role for _, role in closed} <= {Role.BACK, Role.COUNTED}
