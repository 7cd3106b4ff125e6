"""What the book writes of an entry, reads again, reverses, and says that stands on it."""

from datetime import timedelta, timezone

import pytest
from django.db.models import Sum

from ledger import book, errors
from ledger.drafts import ChargeDraft
from ledger.models import Charge, Entry
from tests.ledger.shorthand import (
    KG,
    NOON,
    UNIT,
    bought,
    bought_blocks,
    buys,
    draft,
    loses,
    makes,
    new,
    pick,
    put,
    sells,
    sold,
    undo,
    uses,
)

pytestmark = pytest.mark.django_db


def test_a_form_sent_twice_names_its_lots_in_the_order_of_its_lines() -> None:
    form = draft(buys(new("rye"), 1, 1), buys(new("bran"), 2, 2))
    first, again = book.record(form), book.record(form)
    assert [lot.item.name for lot in again.lots] == ["rye", "bran"]
    assert again.lots == first.lots


@pytest.mark.parametrize(
    ("offset", "minutes"),
    [
        (timedelta(hours=5, minutes=30), 330),
        (timedelta(hours=-3, minutes=-30), -210),
        (timedelta(0), 0),
        (timedelta(minutes=53, seconds=28), 53),  # a sun's time, before there were zones
    ],
)
def test_an_entry_keeps_how_far_its_clock_was_from_utc(offset: timedelta, minutes: int) -> None:
    entry = put(buys(new(), 1, 1), at=NOON.astimezone(timezone(offset))).entry
    assert Entry.objects.get(pk=entry.pk).utc_offset_min == minutes


def test_what_was_charged_by_the_hour_is_reversed_with_its_hours() -> None:
    lot = bought(KG, UNIT)
    run = put(makes(lot, 0), charges=(ChargeDraft("own", 60, 1500, 40),)).entry
    undo(run)
    sums = Charge.objects.filter(entry__place=run.seq).aggregate(
        Sum("amount"), Sum("quantity_milli")
    )
    assert sums == {"amount__sum": 0, "quantity_milli__sum": 0}


def test_what_comes_later_to_blocks_does_not_stand_on_a_pick_of_them() -> None:
    blocks = bought_blocks(4, UNIT)
    crop = pick(blocks, 1, 0)
    put(loses(blocks, 1))
    of_crop = sold(crop, 1)
    assert book.dependants(crop.made_by) == [of_crop.seq]


def test_the_first_entry_that_stands_on_what_is_taken_back_is_named() -> None:
    sack = bought(KG, UNIT)
    filled = put(uses(sack, KG), makes(new("mix"), KG))
    first = put(makes(filled.lots[1], 0), charges=(ChargeDraft("own", 1),)).entry
    put(sells(filled.lots[1], 1))
    with pytest.raises(errors.NotEnough, match=f"and entry {first.seq} ") as refusal:
        undo(filled.entry)
    assert refusal.value.entry_seq == first.seq
