"""Labels: what they say at each stage, the page that offers them and the command."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.http import HttpResponse
from django.test import Client

from farm.actions.common import Draw
from farm.actions.growing.checks import check
from farm.actions.store.packing import pack
from farm.actions.store.storing import dry
from farm.models import Farm, Form, Product
from farm.pages.tracing.labels import codes_in
from farm.queries.stock import lot_by_code
from farm.queries.tracing.labels import Label, grouped, labels_of, net_words, usual_count
from ledger.codes import lot_code
from ledger.models import Lot
from tests.farm.printing import needs_pdftoppm, rendered, scanned
from tests.farm.world import KG, World, grow, picked, small_farm

GRAM = 1_000
CLAIMS = ("free from", "-free", "cure", "heal", "disease", "immune", "medicin", "treat", "organic")


@pytest.fixture
def world(farm: Farm) -> World:
    return small_farm()


def test_fresh_packs_are_kept_cold_and_cooked(world: World) -> None:
    lot = packs(world)
    of = worded(lot)

    assert of.wording == ("Keep cold.", world.species.cooking_note)
    assert of.title == "Oyster, 200 g"
    assert of.weight == "Net weight 200 g · 7.05 oz"
    assert of.dates[0] == f"Harvested {written(lot.card.harvested_on)}"
    assert (of.farm_name, of.farm_place) == ("Alder Lane", "Alder Lane 3, Lowfield")


def test_a_picked_lot_says_its_grade_and_flush(world: World) -> None:
    of = worded(picked(world))

    assert of.title == "Oyster"
    assert of.what == "Picked, strain Grey, firsts, flush 1"
    assert of.weight.startswith("Lot of 10.00 kg · 22.05 lb on ")
    assert of.wording == ("Keep cold.", world.species.cooking_note)


def test_dried_is_to_be_cooked_all_the_same(world: World) -> None:
    of = worded(dried(world))

    assert of.title == "Dried oyster"
    assert of.wording == ("Dried; cook thoroughly before eating.",)


def test_a_pouch_of_dried_is_not_kept_cold(world: World) -> None:
    pouch = Product.objects.create(
        name="Dried oyster, 30 g", species=world.species, form=Form.DRIED, net_mg=30 * GRAM
    )
    made = pack(
        world.doing(), product=pouch, packs=10, draws=[Draw(dried(world), 300 * GRAM)]
    ).lots[-1]

    of = worded(made)

    assert of.wording == ("Dried; cook thoroughly before eating.",)
    # 30 g are 1.0582 oz.
    assert of.weight == "Net weight 30 g · 1.05 oz"


def test_blocks_say_strain_recipe_generation_and_inoculation(world: World) -> None:
    blocks = grow(world).blocks
    of = worded(blocks)

    assert of.what == "Blocks, strain Grey"
    assert of.facts == ("Recipe Sawdust v1", "Generation 1")
    assert of.dates == (f"Inoculated {written(blocks.made_by.happened_on)}",)
    assert of.wording == ()


def test_blocks_that_a_check_split_off_were_inoculated_when_all_were(world: World) -> None:
    blocks = grow(world).blocks
    world.wait(9)
    passed = check(
        world.doing(reason="slow"), lot=blocks, colonised_percent=90, lost=0, passed=30
    ).lots[-1]

    assert passed != blocks
    assert worded(passed).dates == (f"Inoculated {written(blocks.made_by.happened_on)}",)


def test_spawn_and_bags_say_the_recipe_and_their_day(world: World) -> None:
    grown = grow(world)

    assert worded(grown.spawn).facts == ("Recipe Rye v1", "Generation 1")
    assert worded(grown.spawn).dates[0].startswith("Inoculated ")
    assert worded(grown.bags).dates[0].startswith("Filled ")


def test_a_supply_says_whose_lot_it_was(world: World) -> None:
    of = worded(world.received("sawdust", 10 * KG))

    assert of.title == "sawdust"
    assert of.facts == ("From Mill & Sons", "Supplier's lot sawdust 26-31")


def test_no_label_claims_anything(world: World) -> None:
    grown = grow(world)
    lots = [*grown, packs(world), world.received("rye", KG)]

    said = " ".join(str(worded(lot)) for lot in lots).lower()

    assert [claim for claim in CLAIMS if claim in said] == []


def test_a_net_weight_never_says_more_than_the_pack_holds() -> None:
    assert net_words(250 * GRAM, "kg") == "250 g · 8.81 oz"  # 8.8185 oz
    assert net_words(500 * GRAM, "kg") == "0.50 kg · 1.10 lb"  # 1.1023 lb
    # 8 oz are 226.796 g and were kept as 226,796 mg: NIST HB 130 rounds down, never up.
    assert net_words(226_796, "lb") == "8.0 oz · 226 g"
    assert net_words(453_592, "lb") == "1.00 lb · 0.453 kg"


def test_a_counted_lot_wants_a_label_a_piece_and_a_weighed_one_a_single_one(world: World) -> None:
    grown = grow(world)

    assert usual_count(known(grown.blocks)) == 40
    assert usual_count(known(grown.spawn)) == 7
    assert usual_count(known(world.received("rye", KG))) == 1


# --- the page and the command ----------------------------------------------------------------


def test_the_page_offers_labels_of_the_lots_named(world: World, reader: Client) -> None:
    code = world.received("rye", KG).code

    page = reader.get("/labels/", {"lot": code}).content.decode()

    assert f'value="{code}"' in page
    assert "farm/scan.js" in page


def test_the_page_may_use_the_camera(reader: Client) -> None:
    assert "camera=(self)" in reader.get("/labels/")["Permissions-Policy"]


@needs_pdftoppm
def test_the_page_prints_each_lot_named(helper: Client, world: World, tmp_path: Path) -> None:
    codes = [world.received(name, KG).code for name in ("rye", "sawdust")]

    answer = asked(helper, {"lot": codes, "sheet": "62x29", "count": 2})

    assert answer["Content-Type"] == "application/pdf"
    read = [found for page in rendered(answer.content, tmp_path) for found in scanned(page)]
    assert [text.rsplit("/", 1)[-1] for text in read] == [codes[0]] * 2 + [codes[1]] * 2


def test_a_mistyped_code_is_explained(helper: Client, world: World) -> None:
    code = world.received("rye", KG).code
    wrong = code[:-1] + ("2" if code[-1] != "2" else "3")

    answer = asked(helper, {"lot": wrong, "sheet": "62x29"})

    assert answer.status_code == 422
    assert f"Did you mean {code}?" in answer.content.decode()


def test_a_place_that_the_sheet_has_not_is_refused(helper: Client, world: World) -> None:
    code = world.received("rye", KG).code

    answer = asked(helper, {"lot": code, "sheet": "a4-2x7", "start": 15})

    assert "This sheet has 14 labels." in answer.content.decode()


def test_a_slip_of_the_finger_does_not_print_a_roll(helper: Client, world: World) -> None:
    codes = [world.received("rye", KG).code for _ in range(2)]

    answer = asked(helper, {"lot": codes, "sheet": "a4-2x7", "count": 1500})

    assert "3000 labels at once are too many" in answer.content.decode()


def test_the_square_code_has_the_address_only_where_others_reach_it(
    helper: Client, world: World, settings: object, tmp_path: Path
) -> None:
    code = world.received("rye", KG).code
    given = {"lot": code, "sheet": "62x29", "count": 1}

    local = asked(helper, given, HTTP_HOST="localhost:8000")
    (here,) = rendered(local.content, tmp_path)
    (there,) = rendered(asked(helper, given).content, tmp_path)

    assert scanned(here) == [code]
    assert scanned(there) == [f"http://testserver/lots/{code}"]


@pytest.mark.parametrize("typed", ["{a}, {b}", "{a} {b}", "{a};{b}", "{ga}, {gb}", "{a}, {b}, {a}"])
def test_codes_are_told_apart_however_they_are_typed(typed: str) -> None:
    a, b = lot_code(1), lot_code(2)

    assert codes_in(typed.format(a=a, b=b, ga=grouped(a), gb=grouped(b))) == [a, b]


def test_the_command_writes_the_sheet(world: World, tmp_path: Path) -> None:
    out = tmp_path / "labels.pdf"

    call_command("labels", world.received("rye", KG).code, sheet="a4-2x7", out=out)

    assert out.read_bytes().startswith(b"%PDF")


def test_the_command_names_a_code_it_does_not_know(world: World, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="There is no lot 22222"):
        call_command("labels", "22222", sheet="a4-2x7", out=tmp_path / "labels.pdf")


# --- helpers ---------------------------------------------------------------------------------


def asked(client: Client, given: dict[str, Any], **headers: str) -> HttpResponse:
    answer = client.get("/labels/sheet.pdf", given, **headers)  # type: ignore[arg-type]
    assert isinstance(answer, HttpResponse)
    return answer


def known(lot: Lot) -> Lot:
    found = lot_by_code(lot.code)
    assert found
    return found


def written(day: date | None) -> str:
    assert day
    return f"{day.day} {day:%b %Y}"


def worded(lot: Lot) -> Label:
    return labels_of([known(lot)], Farm.objects.get())[0]


def packs(world: World) -> Lot:
    world.received("punnet", 50)
    crop = picked(world)
    return pack(world.doing(), product=world.product, packs=40, draws=[Draw(crop, 8 * KG)]).lots[-1]


def dried(world: World) -> Lot:
    return dry(
        world.doing(sure=True),
        draws=[Draw(picked(world), 8 * KG)],
        dried_mg=800 * GRAM,
        temperature_milli_c=50_000,
        minutes_drying=480,
    ).lots[-1]


def test_packs_with_a_gtin_print_it(world: World) -> None:
    world.product.gtin = "09501101530003"  # GS1's own example
    world.product.save()

    assert "GTIN 09501101530003" in worded(packs(world)).facts
