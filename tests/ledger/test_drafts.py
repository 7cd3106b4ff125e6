"""The fingerprint of a submission: the same content, the same digest."""

from dataclasses import replace
from decimal import Decimal
from uuid import uuid4

import pytest

from ledger.drafts import ChargeDraft, MarkDraft, canonical, fingerprint
from ledger.models import Role
from tests.ledger.shorthand import DAY, KG, NOON, bought, buys, draft, line, new

pytestmark = pytest.mark.django_db


def test_the_uuid_is_no_part_of_what_is_said() -> None:
    form = draft(buys(new(), KG, 5))
    assert fingerprint(form, None, False) == fingerprint(form.but(uuid=uuid4()), None, False)


def test_every_other_part_is() -> None:
    lot = bought(KG, 5)
    form = draft(buys(new(), KG, 5))
    others = [
        form.but(kind="other"),
        form.but(happened_at=NOON + DAY),
        form.but(by=2),
        form.but(reason="late"),
        form.but(particulars={"minutes": 5}),
        form.but(lines=(buys(new(), KG, 6),)),
        form.but(lines=(buys(new("grain"), KG, 5),)),
        form.but(lines=(line(lot, Role.SOLD, -1),)),
        form.but(charges=(ChargeDraft("paid", 1),)),
        form.but(marks=(MarkDraft(lot, held=True),)),
    ]
    digests = {fingerprint(one, None, False) for one in (form, *others)}
    digests |= {fingerprint(form, lot.made_by, False), fingerprint(form, None, True)}
    assert len(digests) == len(others) + 3


def test_canonical_text_does_not_depend_on_the_order_of_keys() -> None:
    assert canonical({"b": 1, "a": [2, "é"]}) == canonical({"a": [2, "é"], "b": 1})


def test_canonical_text_keeps_a_decimal_s_digits() -> None:
    assert canonical({"price": Decimal("2.50")}) == '{"price":"2.50"}'


def test_a_line_states_only_the_numbers_the_book_knows() -> None:
    stated = line(new(), Role.MADE, 5, basis=2)
    assert sum(stated.numbers().values()) == 7
    assert replace(stated, quantity=6).numbers()["quantity"] == 6
