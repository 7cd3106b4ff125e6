"""What the book refused waits, whole, until it is answered."""

from uuid import uuid4

import pytest

from ledger import waiting
from ledger.models import Waiting
from tests.ledger.shorthand import bought

pytestmark = pytest.mark.django_db


def keep(payload: str = '{"sold": 5}', lots: tuple[str, ...] = (), **stated: object) -> None:
    uuid = stated.get("uuid") or uuid4()
    waiting.keep(uuid, "sell", payload, refusal="Lot X is short.", lots=lots, by=3)  # type: ignore[arg-type]


def test_a_refused_form_is_kept_whole() -> None:
    keep('{"sold": "5 kg"}')
    row = waiting.unanswered().get()
    assert (row.payload, row.refusal, row.by) == ('{"sold": "5 kg"}', "Lot X is short.", 3)


def test_it_is_found_by_its_lots() -> None:
    lot, other = bought(5, 5), bought(5, 5)
    keep(lots=(lot.code,))
    assert waiting.about([lot.pk, other.pk]).count() == 1
    assert waiting.about([other.pk]).count() == 0


def test_a_later_form_of_the_same_uuid_takes_its_place_and_both_are_kept() -> None:
    uuid = uuid4()
    keep("first", uuid=uuid)
    keep("second", uuid=uuid)
    assert waiting.unanswered().get().payload == "second"
    assert Waiting.objects.get(payload="first").answer == "sent again with other content"


def test_an_answered_form_waits_no_more_and_is_not_thrown_away() -> None:
    uuid = uuid4()
    keep(uuid=uuid)
    assert waiting.answer(uuid, "accepted as entry 7") == 1
    assert not waiting.unanswered().exists()
    assert Waiting.objects.get().answer == "accepted as entry 7"


def test_a_refusal_longer_than_its_column_is_cut() -> None:
    waiting.keep(uuid4(), "sell", "{}", refusal="x" * 700, lots=(), by=1)
    assert len(waiting.unanswered().get().refusal) == 600


def test_the_oldest_is_answered_first_and_the_first_time_of_a_form_stands() -> None:
    uuid = uuid4()
    keep("first", uuid=uuid)
    keep("other")
    keep("again", uuid=uuid)
    assert [row.payload for row in waiting.unanswered()] == ["other", "again"]
    assert waiting.first_kept(uuid) == Waiting.objects.get(payload="first").kept_at
    assert waiting.first_kept(uuid4()) is None


def test_what_it_waits_for_is_named_in_the_order_of_codes() -> None:
    lots, uuid = [bought(5, 5) for _ in range(4)], uuid4()
    keep(lots=tuple(lot.code for lot in lots), uuid=uuid)
    codes = [lot.code for _, lot in waiting.lots_of([uuid])]
    assert codes == sorted(lot.code for lot in lots) != [lot.code for lot in lots]


def test_the_last_answer_stands_cut_to_its_column() -> None:
    uuid = uuid4()
    assert waiting.answer_to(uuid) == ""
    keep("first", uuid=uuid)
    keep("again", uuid=uuid)
    waiting.answer(uuid, "y" * 400)
    assert waiting.answer_to(uuid) == "y" * 300
