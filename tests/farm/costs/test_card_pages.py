"""The cost card's pages, on the small farm of the tests."""

import io
from datetime import timedelta
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from farm.actions.growing.checks import check
from farm.models import ByProductChoice, ByProductWay, SavedCard
from farm.planning.inputs import INPUTS, InputKind
from tests.farm.world import KG, World, grow_blocks, small_farm


@pytest.fixture
def world(owner: Client) -> World:
    world = small_farm()
    grow_blocks(world, 40)
    world.received("punnet", 100)
    return world


def shown(client: Client, **typed: object) -> str:
    response = client.get(f"/card/?{urlencode(typed)}")
    assert response.status_code == 200
    return response.content.decode()


def test_without_look_ups_it_says_what_is_missing(owner: Client) -> None:
    assert "A card needs a block recipe" in shown(owner)


def test_it_opens_with_what_to_ask_and_nothing_typed(world: World, owner: Client) -> None:
    page = shown(owner)

    assert "Oyster, 200 g at Saturday market." in page
    assert "it loses money" in page
    assert "never below" not in page
    assert "farm details: the strain&#x27;s planning figure" in page


def test_a_typed_number_is_used_and_named_as_typed(world: World, owner: Client) -> None:
    page = shown(owner, first_mg="0.3 kg", second_mg="0", third_mg="0")

    assert "typed for this card" in page
    assert page != shown(owner)


def test_a_number_that_cannot_be_read_is_said_beside_its_name(world: World, owner: Client) -> None:
    assert "Trimmed off, of what was picked: “" not in shown(owner)
    assert "is not a share" in shown(owner, trim_ppm="lots")


def test_what_is_not_known_is_asked_for(owner: Client) -> None:
    small_farm()

    page = shown(owner)

    assert "Not known yet: price of spawn" in page
    assert "price of sawdust" in page


def test_a_card_that_divides_by_nothing_is_refused_in_words(world: World, owner: Client) -> None:
    assert "the share that is sold is nothing or less" in shown(owner, unsold_ppm="100")


def test_the_helper_sees_no_card(helper: Client) -> None:
    assert helper.get("/card/").status_code == 403


def test_the_reader_sees_it_and_saves_none(world: World, reader: Client) -> None:
    assert "Save this card" not in shown(reader)
    assert reader.post("/card/", {"name": "Mine"}).status_code == 403


def test_saving_twice_makes_two_versions(world: World, owner: Client) -> None:
    for typed in ("0.5 kg", "0.4 kg"):
        owner.post(f"/card/?{urlencode({'first_mg': typed})}", {"name": "Oyster"})

    saved = SavedCard.objects.order_by("version")
    assert [card.version for card in saved] == [1, 2]
    assert saved[0].placed_money < saved[1].placed_money


def test_a_saved_card_stays_as_it_stood(world: World, owner: Client) -> None:
    owner.post("/card/", {"name": "Oyster"})
    card = SavedCard.objects.get()
    before = owner.get(f"/card/{card.pk}/").context["answer"].tables
    world.strain.first_mg = 100_000
    world.strain.save()
    world.received("sawdust", KG, 1_000_000, sure=True)

    assert owner.get(f"/card/{card.pk}/").context["answer"].tables == before


def test_a_saved_card_leads_to_the_same_numbers_again(world: World, owner: Client) -> None:
    owner.post("/card/?first_mg=0.41+kg", {"name": "Oyster"})
    page = owner.get(f"/card/{SavedCard.objects.get().pk}/").content.decode()

    assert 'href="/card/?first_mg=0.41+kg"' in page


def test_the_spreadsheet_has_formulas_and_the_pdf_is_one(world: World, owner: Client) -> None:
    book = load_workbook(io.BytesIO(owner.get("/card/?file=xlsx").content))

    assert str(book["Cost"]["B4"].value).startswith("=Inputs!")
    assert owner.get("/card/?file=pdf").content.startswith(b"%PDF")


def test_the_scorecard_waits_for_finished_batches(world: World, owner: Client) -> None:
    owner.post("/card/", {"name": "Oyster"})

    assert (
        "No saved card has a finished batch yet"
        in owner.get("/decisions/came-true/").content.decode()
    )


def test_a_strain_of_another_species_brings_its_own_pack(world: World, owner: Client) -> None:
    page = owner.get(f"/card/?strain={world.other_strain.pk}")

    # The farm has no pack of that species: the one that is there stays.
    assert page.context["choice"].choice().product == world.product


def test_where_all_batches_were_lost_there_is_a_card_but_no_range(owner: Client) -> None:
    world = small_farm()
    blocks = grow_blocks(world, 20)
    world.received("punnet", 100)
    lost = world.doing(reason="green mould", sure=True)
    check(lost, lot=blocks, colonised_percent=90, lost=20)
    assert "the share of blocks that is not lost is nothing or less" in shown(owner)

    for ending in ("", "pdf", "xlsx"):
        page = owner.get(f"/card/?loss_ppm=10&file={ending}")
        assert page.status_code == 200
    assert "no cost: more than nine batches in ten give nothing" in shown(owner, loss_ppm="10")
    owner.post("/card/?loss_ppm=10", {"name": "After the mould"})
    card = SavedCard.objects.get()
    assert (card.picked_low_money, card.picked_high_money) == (None, None)
    assert owner.get(f"/card/{card.pk}/").status_code == 200
    assert "After the mould" in owner.get("/decisions/came-true/").content.decode()


def test_what_is_sold_beside_lowers_the_kilo_by_either_way(world: World, owner: Client) -> None:
    typed = {"trim_kg_money": "4", "spent_money": "0.50", "crop_kg_money": "20"}

    def placed(**said: str) -> int:
        owner.post(f"/card/?{urlencode(said)}", {"name": "Beside"})
        return SavedCard.objects.order_by("-pk")[0].placed_money

    alone, shared, off = placed(), placed(**typed), placed(**typed, beside="taken off")
    page = shown(owner, **typed, beside="taken off")

    assert alone > shared > off
    assert "taken off the cost of the crop" in page and "chosen for this card" in page
    assert "nothing is sold beside" in shown(owner)


def test_what_is_sold_beside_is_counted_as_the_farm_counts_it_that_day(
    world: World, owner: Client
) -> None:
    typed = {"trim_kg_money": "4", "crop_kg_money": "20"}
    today = timezone.localdate()
    taken_off = "taken off the cost of the crop"
    assert "share the cost by worth" in shown(owner, **typed)

    ByProductChoice.objects.create(from_day=today + timedelta(days=1), way=ByProductWay.TAKEN_OFF)
    assert f"{taken_off}</td>" not in shown(owner, **typed)
    ByProductChoice.objects.create(from_day=today, way=ByProductWay.TAKEN_OFF)
    assert taken_off in shown(owner, **typed).partition("Worked from")[2]
    page = shown(owner, **typed, beside="shared")
    assert "share the cost by worth" in page.partition("Worked from")[2]


NUMBERS = (*INPUTS, "lost_count", "asked_money", "price_0")
TYPED = (
    "0", "1", "100", "999999999", "0.000001", "-1", "1e308", "nan", "inf", "9" * 400, "½", "٣",
    "", " ", "1,5", "0.0001",
)  # fmt: skip


@pytest.mark.parametrize("typed", TYPED)
def test_what_no_field_reads_is_said_beside_every_field(
    world: World, owner: Client, typed: str
) -> None:
    shown(owner, **dict.fromkeys(NUMBERS, typed))


@pytest.mark.parametrize("typed", ["0", "999999999", "0.000001"])
def test_no_number_of_any_size_breaks_it(world: World, owner: Client, typed: str) -> None:
    for name in NUMBERS:
        shown(owner, **{name: typed})


@given(
    typed=st.dictionaries(
        st.sampled_from(NUMBERS),
        st.one_of(st.sampled_from(TYPED), st.text(max_size=12), st.decimals(0, 10**12).map(str)),
        max_size=8,
    ),
    ending=st.sampled_from(("", "pdf", "xlsx")),
)
@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_whatever_is_typed_together_is_answered(
    world: World, owner: Client, typed: dict[str, str], ending: str
) -> None:
    response = owner.get(f"/card/?{urlencode({**typed, 'file': ending})}")

    assert response.status_code == 200


@pytest.mark.parametrize("said", ["lost=0", "pk=9", "strain=zwölf", "product=1e9", "spawn=%00"])
def test_what_it_is_of_may_be_anything(world: World, owner: Client, said: str) -> None:
    assert owner.get(f"/card/?{said}").status_code == 200


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"loss_ppm": "100"}, "the share of blocks that is not lost"),
        ({"lost_count": "40"}, "the share of blocks that is not lost"),
        ({"lost_count": "41"}, "the share of blocks that is not lost"),
        ({"trim_ppm": "100"}, "the share that trimming leaves"),
        ({"unsold_ppm": "100"}, "the share that is sold"),
        ({"blocks": "0"}, "the number of blocks in the batch"),
        ({"day_mg": "0"}, "the weight sold in a day"),
        ({"first_mg": "0", "second_mg": "0", "third_mg": "0"}, "the weight picked from a block"),
    ],
)
def test_what_leaves_nothing_to_divide_by_is_refused_by_its_name(
    world: World, owner: Client, typed: dict[str, str], words: str
) -> None:
    assert f"{words} is nothing or less" in shown(owner, **typed)


def test_no_cost_is_below_nothing_wherever_a_share_is_typed(world: World, owner: Client) -> None:
    for typed in ({"loss_ppm": "99"}, {"trim_ppm": "99"}, {"unsold_ppm": "99.9"}, {"blocks": "1"}):
        page = owner.get(f"/card/?{urlencode(typed)}")
        for table in page.context["answer"].tables:
            assert not [cell for row in table.rows for cell in row if str(cell).startswith("-")]


def test_everything_free_costs_nothing_and_asks_nothing(world: World, owner: Client) -> None:
    money = [key for key, one in INPUTS.items() if one.kind is InputKind.MONEY]
    prices = [f"price_{at}" for at in range(9)]
    page = shown(owner, **dict.fromkeys([*money, *prices], "0"), run_wh="0")

    assert "below €0.00 it loses money" in page


def test_a_dear_kilo_is_refused_and_not_saved(world: World, owner: Client) -> None:
    typed = {"day_fee_money": "999999999", "day_mg": "1 mg"}
    sent = owner.post(f"/card/?{urlencode(typed)}", {"name": "Gold"})

    assert "costs more than can be kept" in sent.content.decode()
    assert not SavedCard.objects.exists()
