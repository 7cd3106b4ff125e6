"""A fault in one lot may be in its sisters: what to look at as well, and no false all-clear."""

import re
from urllib.parse import urlencode

import pytest
from django.http import QueryDict
from django.test import Client

from farm.actions.store.storing import throw_away
from farm.pages.tracing.reach_forms import ReachForm
from farm.queries.tracing.possible_sources import Wider, how_far_back
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import runs_kept, suspect_lots
from ledger.models import Lot
from tests.farm.season import Season, season
from tests.farm.world import KG, fresh

pytestmark = pytest.mark.django_db


def wider(*lots: Lot) -> dict[str, Wider]:
    """What reaches further than some lots, by its words."""
    return {one.words: one for one in how_far_back(suspect_lots(lots)).ways[1:]}


def codes(one: Wider) -> set[str]:
    return set(dict(one.asked).get("codes", "").split())


def sold_out(lots: Season) -> Lot:
    packs = fresh(lots.packs)
    throw_away(lots.world.doing(reason="unsold"), lot=packs, quantity=packs.quantity)
    return fresh(packs)


def read(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def test_a_pack_shares_its_pick_its_blocks_its_grain_and_its_runs() -> None:
    lots = season()
    found = wider(lots.packs)

    assert codes(found["the same pick"]) == {
        lots.firsts.code,
        lots.seconds.code,
        lots.trim.code,
    }
    assert codes(found["the same grain batch"]) == {lots.grown.grain.code}
    runs = [dict(one.asked)["run"] for one in found.values() if "run" in dict(one.asked)]
    assert sorted(runs) == sorted(str(run.seq) for run in runs_kept())


def test_a_pack_shares_each_delivery_behind_it() -> None:
    lots = season()
    marks = {words for words in wider(lots.packs) if "’s lot" in words}

    assert marks == {
        f"Mill & Sons’s lot {name} 26-31" for name in ("rye", "grain bag", "sawdust", "block bag")
    }  # and not of the punnets, which are all in these packs


def test_the_lot_itself_stands_first() -> None:
    lots = season()
    alone = how_far_back(suspect_lots([lots.packs])).ways[0]

    assert (alone.words, codes(alone)) == ("this lot alone", {lots.packs.code})
    # 30 packed, 20 sold and 2 back, 6 sold at the stall, 3 thrown away: 3 are here.
    assert (alone.here, alone.customers) == (1, 1)


def test_what_reaches_no_further_is_not_offered() -> None:
    lots = season()

    assert "the same blocks" in wider(lots.firsts)
    assert "the same blocks" not in wider(lots.grown.blocks)
    assert "the same pick" not in wider(lots.grown.blocks)
    assert "the same grain batch" not in wider(lots.grown.grain)


def test_the_counts_are_those_of_the_page_that_is_led_to() -> None:
    lots = season()
    for one in how_far_back(suspect_lots([lots.packs])).ways:
        form = ReachForm(QueryDict(urlencode(one.asked)))
        assert form.is_valid()
        page = reach_of(form.suspects)
        assert (one.here, one.customers) == (len(page.still_here), len(page.recipients)), one
        assert one.here
        assert one.customers == 1


def test_a_lot_of_another_chain_stays_among_the_suspects() -> None:
    lots = season()
    sawdust = lots.world.received("sawdust", 20 * KG)
    found = wider(lots.packs, sawdust)

    assert codes(found["the same grain batch"]) == {lots.grown.grain.code, sawdust.code}


def test_a_sold_out_lot_is_no_all_clear(owner: Client) -> None:
    lots = season()
    page = read(owner, f"/trace/?codes={sold_out(lots).code}")

    assert "Nothing of this lot is here and free" in page
    assert "What it shares with others may be." in page
    assert "How far back does the fault lie?" in page


def test_each_way_leads_to_what_can_be_held_there(owner: Client) -> None:
    lots = season()
    page = read(owner, f"/trace/?codes={sold_out(lots).code}")
    ways = re.findall(r'href="/trace/(\?[^"]+)">\d+ lots? here', page)

    # The lot itself, its pick, blocks, grain, two runs, and four deliveries.
    assert len(ways) == 10
    for way in ways[1:]:
        assert "still here and free" in read(owner, f"/trace/{way.replace('&amp;', '&')}")


def test_several_codes_are_called_these_lots(owner: Client) -> None:
    lots = season()

    assert "This lot alone" in read(owner, f"/trace/?codes={lots.packs.code}")
    page = read(owner, f"/trace/?codes={lots.packs.code}+{lots.seconds.code}")
    assert "These lots alone" in page


def test_a_run_is_looked_at_as_it_is(owner: Client) -> None:
    season()
    run = runs_kept()[0]

    assert "How far back" not in read(owner, f"/trace/?run={run.seq}")
