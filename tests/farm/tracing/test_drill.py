"""A drill: a sold lot against the clock, balanced, what is missing answered, signed, kept."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.utils import timezone

from farm.actions.common import Draw
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import load_stall
from farm.actions.store.storing import throw_away, weigh_again
from farm.actions.tracing.drilling import Signed, sign_drill, start_drill
from farm.habits import short_day
from farm.models import Drill, DrillSignature
from farm.pages.tracing import drills
from farm.queries.tracing.drills import Drilled, drilled_of, lot_by_chance, sold_lots
from farm.reports.tracing.balance_rows import accounted_words
from farm.reports.tracing.drill_rows import time_words
from ledger.errors import Malformed
from ledger.models import Lot
from tests.farm.papers import pdf_words
from tests.farm.season import MARKET_DAY, Season, season
from tests.farm.world import GRAM, KG, START, UNIT, fresh, picked, small_farm

pytestmark = pytest.mark.django_db


def started(lots: Season, lot: Lot | None = None) -> Drill:
    return start_drill(lots.world.doing(), lot or lots.packs, by_chance=False)


def signed(lots: Season, drill: Drill, **said: str) -> DrillSignature:
    missing = len(drilled_of(drill).missing)
    stated = Signed(said.get("initials", "OL"), ("not known",) * missing, "ask for names")
    return sign_drill(lots.world.doing(), drill, missing=missing, signed=stated)


# --- which lot --------------------------------------------------------------------------------


def test_chance_picks_among_lots_that_were_sold() -> None:
    lots = season()

    assert set(sold_lots()) == {lots.packs, lots.seconds}
    assert {lot_by_chance(START.date()) for _ in range(40)} == {lots.packs, lots.seconds}


def test_chance_finds_nothing_where_nothing_was_sold() -> None:
    picked(small_farm())

    assert lot_by_chance(START.date()) is None


# --- what is listed ---------------------------------------------------------------------------


def found(drill: Drill) -> Drilled:
    return drilled_of(Drill.objects.get(pk=drill.pk))


def test_a_drill_lists_both_ways() -> None:
    lots = season()
    drill = found(started(lots))

    assert {lot.code for lot in lots.grown} <= {lot.code for lot in drill.behind}
    assert [one.number for one in drill.forward.recipients] == [lots.world.customer.number]
    assert [one.place for one in drill.forward.unnamed] == ["Saturday market"]
    assert drill.runs == 2


def test_a_drill_balances_the_lot() -> None:
    lots = season()

    # 30 packs: 18 with the kitchens, 6 sold at the stall, 3 thrown away, 3 here.
    balance = found(started(lots)).balance
    assert balance.parts == (3, 0, 24, 0, 3, 0)
    assert accounted_words(balance) == "100.00 % (30 of 30)"


def test_its_lists_stay_as_they_were() -> None:
    lots = season()
    drill = started(lots)
    before = found(drill)
    throw_away(lots.world.doing(reason="old"), lot=fresh(lots.packs), quantity=1)

    assert found(drill) == before


def test_it_asks_for_what_is_missing() -> None:
    lots = season()
    load_stall(
        lots.world.doing(),
        place=lots.world.stall,
        day=MARKET_DAY,
        lines=[Draw(fresh(lots.packs), 1)],
    )
    missing = "\n".join(found(started(lots)).missing)

    assert f"No telephone or e-mail is kept of {lots.world.customer.number}" in missing
    assert "Nobody's name is known of who bought at Saturday market" in missing
    assert f"Not settled yet: Saturday market on {short_day(MARKET_DAY)}" in missing
    assert f"Where do these stand: {lots.packs.code}" in missing


def test_it_does_not_ask_for_what_is_kept() -> None:
    lots = season()
    lots.world.customer.contact = "01 234"
    lots.world.customer.save()
    drill = found(started(lots))
    missing = "\n".join(drill.missing)

    assert drill.contacts == 1
    for words in ("telephone", "supplier", "steriliser", "explains", "Not settled"):
        assert words not in missing


def test_it_asks_what_explains_a_loss_without_a_cause() -> None:
    world = small_farm()
    crop = picked(world, 2 * KG)
    sell(
        world.doing(),
        place=world.kitchens,
        customer=world.customer,
        lines=[SoldLine(crop, KG, 9 * UNIT)],
    )
    weigh_again(world.doing(sure=True), lot=fresh(crop), weight_mg=500 * GRAM)
    drill = found(start_drill(world.doing(), fresh(crop), by_chance=True))

    assert drill.balance.unexplained > 0
    assert any("unexplained. What explains it?" in words for words in drill.missing)


# --- signed -----------------------------------------------------------------------------------


def test_a_signature_keeps_answers_person_and_time() -> None:
    lots = season()
    drill = started(lots)
    signature = signed(lots, drill)

    assert (signature.initials, signature.by) == ("OL", lots.world.owner)
    assert signature.signed_at - drill.started_at == timedelta(hours=1)
    assert signature.answers.count("not known") == len(drilled_of(drill).missing)


def test_nobody_signs_for_another() -> None:
    lots = season()
    with pytest.raises(Malformed, match="not your initials"):
        signed(lots, started(lots), initials="HU")


def test_every_question_is_answered_before_it_is_signed() -> None:
    lots = season()
    drill = started(lots)
    missing = len(drilled_of(drill).missing)
    for answers in ((), ("",) * missing):
        with pytest.raises(Malformed, match="Answer each"):
            sign_drill(lots.world.doing(), drill, missing=missing, signed=Signed("OL", answers))


def test_the_first_signature_stands() -> None:
    lots = season()
    drill = started(lots)

    assert signed(lots, drill) == signed(lots, drill)


def test_a_drill_started_twice_is_one() -> None:
    lots = season()
    doing = lots.world.doing()
    one = start_drill(doing, lots.packs, by_chance=True)

    assert start_drill(doing, lots.seconds, by_chance=True) == one


@pytest.mark.parametrize("model", [Drill, DrillSignature])
def test_the_database_refuses_to_change_a_drill(model: type[Drill]) -> None:
    lots = season()
    signed(lots, started(lots))
    with pytest.raises(DatabaseError), transaction.atomic():
        model.objects.update(by=lots.world.helper)


def test_the_time_is_said_in_hours_minutes_seconds() -> None:
    assert time_words(START, START + timedelta(seconds=95)) == "1 min 35 s"
    assert time_words(START, START + timedelta(hours=1, minutes=4, seconds=9)) == "1 h 04 min 09 s"


# --- pages ------------------------------------------------------------------------------------


def start_on_page(client: Client, code: str) -> str:
    form = {"code": code, "uuid": str(uuid4())}
    response = client.post("/drills/", form, follow=True)
    return response.content.decode()


def test_a_drill_goes_from_start_to_signature(owner: Client) -> None:
    lots = season()
    page = start_on_page(owner, lots.packs.code)
    assert "The clock runs" in page
    answers = {f"answer_{at}": "not known" for at in range(9)}
    form = {**answers, "initials": "ol", "lessons": "ask for numbers"}
    page = owner.post("/drills/1/", form, follow=True).content.decode()

    assert "Drill 1 is signed and kept" in page
    assert "ask for numbers" in page
    assert "100.00 % (30 of 30)" in owner.get("/drills/").content.decode()


def test_a_signature_of_another_is_refused_on_the_page(owner: Client) -> None:
    lots = season()
    start_on_page(owner, lots.packs.code)
    answers = {f"answer_{at}": "not known" for at in range(9)}
    response = owner.post("/drills/1/", {**answers, "initials": "HU"})

    assert response.status_code == 422
    assert "are not your initials" in response.content.decode()


@pytest.mark.parametrize(
    ("code", "words"), [("ZZZZZ", "No lot has the code"), ("unsold", "was sold. Name a lot")]
)
def test_only_a_sold_lot_is_drilled(owner: Client, code: str, words: str) -> None:
    lots = season()
    page = start_on_page(owner, lots.grown.spawn.code if code == "unsold" else code)

    assert words in page
    assert not Drill.objects.exists()


def test_without_a_code_chance_picks(owner: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(drills, "YEAR", timedelta(days=36_500))  # whenever this test runs
    assert "there is no lot to drill" in start_on_page(owner, "")
    season()

    assert "picked by chance" in start_on_page(owner, "")


def test_an_inspector_starts_no_drill_and_reads_those_kept(inspector: Client) -> None:
    lots = season()
    form = {"code": lots.packs.code, "uuid": str(uuid4())}
    assert inspector.post("/drills/", form).status_code == 403
    started(lots)

    assert "The clock runs" not in inspector.get("/drills/1/").content.decode()


def test_a_helper_drills_by_numbers(helper: Client) -> None:
    lots = season()
    page = start_on_page(helper, lots.packs.code)

    assert lots.world.customer.number in page
    assert "The Anchor" not in page


def test_a_years_drills_are_listed_and_taken_away(owner: Client) -> None:
    lots = season()
    start_on_page(owner, lots.packs.code)
    year = timezone.localdate().year

    assert "Drill 1 ·" in owner.get(f"/drills/?year={year}").content.decode()
    assert owner.get(f"/drills/?year={year}&file=xlsx").content.startswith(b"PK")


def test_the_pdf_says_times_weights_and_signature(owner: Client) -> None:
    lots = season()
    signed(lots, started(lots))
    words = pdf_words(owner.get("/drills/1/?file=pdf").content)

    for said in ("Time taken", "1 h 00 min 00 s", "100.00 % (30 of 30)", "OL (olive)"):
        assert said in words
