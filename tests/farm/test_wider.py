"""A fault in one lot may be in its sisters: what to look at as well, and no false all-clear."""

import re

import pytest
from django.test import Client

from farm.actions.storing import throw_away
from farm.queries.reach import reach_of
from farm.queries.suspects import runs_kept, suspect_lots, suspect_run
from farm.queries.wider import Wider, wider_than
from ledger.models import Lot
from tests.farm.season import Season, season
from tests.farm.world import KG, fresh

pytestmark = pytest.mark.django_db


def wider(*lots: Lot) -> dict[str, Wider]:
    return {one.words: one for one in wider_than(suspect_lots(lots))}


def sold_out(lots: Season) -> Lot:
    packs = fresh(lots.packs)
    throw_away(lots.world.doing(reason="unsold"), lot=packs, quantity=packs.quantity)
    return fresh(packs)


def read(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def test_a_pack_shares_its_pick_its_blocks_its_grain_and_its_runs() -> None:
    lots = season()
    found = wider(lots.packs)

    assert set(found["the same pick"].codes) == {
        lots.firsts.code, lots.seconds.code, lots.trim.code,
    }  # fmt: skip
    assert found["the same grain batch"].codes == (lots.grown.grain.code,)
    runs = [one.run for one in found.values() if one.run]
    assert sorted(runs) == sorted(run.seq for run in runs_kept())


def test_what_reaches_no_further_is_not_offered() -> None:
    lots = season()

    assert "the same blocks" in wider(lots.firsts)
    assert "the same blocks" not in wider(lots.grown.blocks)
    assert "the same pick" not in wider(lots.grown.blocks)
    assert "the same grain batch" not in wider(lots.grown.grain)


def test_the_counts_are_those_of_the_page_that_is_led_to() -> None:
    lots = season()
    for one in wider_than(suspect_lots([lots.packs])):
        asked = list(Lot.objects.filter(code__in=one.codes).order_by("pk"))
        run = runs_kept().get(seq=one.run) if one.run else None
        page = reach_of(suspect_run(run) if run else suspect_lots(asked))
        assert (one.here, one.customers) == (len(page.still_here), len(page.recipients))
        assert one.here
        assert one.customers == 1


def test_a_lot_of_another_chain_stays_among_the_suspects() -> None:
    lots = season()
    sawdust = lots.world.received("sawdust", 20 * KG)
    found = wider(lots.packs, sawdust)

    assert found["the same grain batch"].codes == (lots.grown.grain.code, sawdust.code)


def test_a_sold_out_lot_is_no_all_clear(owner: Client) -> None:
    lots = season()
    page = read(owner, f"/reach/?codes={sold_out(lots).code}")

    assert "Nothing of this lot is here and free" in page
    assert "What it shares with others is listed below." in page
    assert "It may be in more than this lot" in page


def test_each_way_leads_to_what_can_be_held_there(owner: Client) -> None:
    lots = season()
    page = read(owner, f"/reach/?codes={sold_out(lots).code}")
    ways = re.findall(r'href="/reach/(\?[^"]+)">Everything from', page)

    assert len(ways) == 5
    for way in ways:
        assert "still here and free" in read(owner, f"/reach/{way.replace('&amp;', '&')}")


def test_several_codes_are_called_these_lots(owner: Client) -> None:
    lots = season()
    page = read(owner, f"/reach/?codes={sold_out(lots).code}+{lots.packs.code}")
    both = read(owner, f"/reach/?codes={lots.packs.code}+{lots.seconds.code}")

    assert "It may be in more than this lot" in page
    assert "It may be in more than these lots" in both


def test_a_run_is_looked_at_as_it_is(owner: Client) -> None:
    season()
    run = runs_kept()[0]

    assert "It may be in more" not in read(owner, f"/reach/?run={run.seq}")
