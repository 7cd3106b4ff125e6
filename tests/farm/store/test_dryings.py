"""Drying runs: their mass balance, what is asked, and the ratio of a species over time."""

import pytest
from django.test import Client

from farm.actions.common import Draw
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.store.packing import pack
from farm.actions.store.storing import Laid, dry
from farm.models import Form, PackKind, Placing, Product, Stage
from farm.queries.store.dryings import drying_of, dryings, implied_moisture
from farm.reports.report_heading import Made
from farm.reports.store.drying_rows import balance_facts, drying_report
from ledger.errors import Malformed
from ledger.models import Entry, Lot
from tests.farm.goods import crop, on_hand, packs
from tests.farm.world import GRAM, KG, World, assert_book_is_sound, fresh, small_farm
from tests.published import USDA_WATER_PPM


@pytest.fixture
def world(db: None) -> World:
    return small_farm()


def dried(
    world: World, *draws: Draw, dried_mg: int, laid: Laid | None = None, sure: bool = False
) -> Lot:
    """Dry lots at 55 °C for ten hours."""
    entry = dry(
        world.doing(minutes=0, sure=sure),
        draws=draws,
        dried_mg=dried_mg,
        temperature_milli_c=55_000,
        minutes_drying=600,
        laid=laid,
    ).entry
    return Lot.objects.select_related("item", "card", "made_by").get(made_by=entry)


# --- one run ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "expected_mg"),
    [
        ("11987", 1_202_222),  # oyster, raw, 89.18 g of water: 10 x 0.1082 / 0.9
        ("11238", 1_140_000),  # shiitake, raw, 89.74: 10 x 0.1026 / 0.9
        ("11993", 1_070_000),  # maitake, raw, 90.37: 10 x 0.0963 / 0.9
        ("11260", 838_889),  # white, raw, 92.45: 10 x 0.0755 / 0.9
    ],
)
def test_what_ten_kilos_should_weigh_dried(world: World, number: str, expected_mg: int) -> None:
    """USDA SR28, water in 100 g; dried to 10 % left, common practice, no source."""
    world.species.moisture_ppm = USDA_WATER_PPM[number]
    world.species.save()

    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_100 * GRAM, sure=True)

    run = drying_of(lot)
    assert run is not None
    assert (run.expected_mg, run.difference_mg) == (expected_mg, 1_100_000 - expected_mg)


def test_both_moistures_are_shown_on_the_wet_basis(world: World) -> None:
    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM)

    run = drying_of(lot)

    # Oyster at 89.18 %: 1.082 kg of dry matter in 1.2 kg: 9.8 % water left.
    assert run is not None
    assert run.left_ppm == 98_333
    facts = dict(balance_facts(run, world.farm))
    assert facts["Fresh in"].endswith("at 89.2\u00a0% water, wet basis")
    assert facts["Dried out"].endswith("at 9.8\u00a0% water, wet basis")
    assert facts["Fresh to dried"] == "8.33 to 1"


def test_the_run_keeps_how_it_lay_and_where_it_went(world: World) -> None:
    laid = Laid(slice_mm=6, trays=8, shelf=world.shelf)

    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM, laid=laid)

    run = drying_of(lot)
    assert run is not None
    assert (run.slice_mm, run.trays, run.temperature_milli_c) == (6, 8, 55_000)
    assert Placing.objects.get(lot=lot).shelf == world.shelf


def test_several_lots_and_packs_that_came_back_are_dried_together(world: World) -> None:
    loose, packed = crop(world, 9 * KG), packs(world, 5)

    lot = dried(world, Draw(loose, 9 * KG), Draw(packed, 5), dried_mg=1_200 * GRAM)

    run = drying_of(lot)
    assert run is not None
    assert run.sources == ((loose, 9 * KG), (packed, KG))
    assert (run.fresh_mg, on_hand(packed)) == (10 * KG, 0)
    assert_book_is_sound()


def test_packs_that_are_dried_already_are_refused(world: World) -> None:
    lot = packs(world, 5)
    world.product.form, world.product.pack = Form.DRIED, PackKind.AIRTIGHT
    world.product.save()

    with pytest.raises(Malformed, match=f"{lot.code} is .*dried already"):
        dried(world, Draw(lot, 5), dried_mg=100 * GRAM)


def test_more_than_is_possible_is_asked_about_with_the_water_it_would_hold(world: World) -> None:
    lot = crop(world)

    # 1.082 kg of dry matter in 1.5 kg: 28 % water.
    with pytest.raises(PlausibilityQuestion, match=rf"{lot.code}.*would still hold 28 % water"):
        dried(world, Draw(lot, 10 * KG), dried_mg=1_500 * GRAM)


def test_less_than_its_dry_matter_is_asked_about(world: World) -> None:
    with pytest.raises(PlausibilityQuestion, match="less than its dry matter allows"):
        dried(world, Draw(crop(world), 10 * KG), dried_mg=1_000 * GRAM)


@pytest.mark.parametrize("dried_mg", [0, 10 * KG])
def test_what_cannot_be_is_refused_however_sure(world: World, dried_mg: int) -> None:
    with pytest.raises(Malformed, match="Weigh once more"):
        dried(world, Draw(crop(world), 10 * KG), dried_mg=dried_mg, sure=True)


def test_a_run_taken_back_is_no_run(world: World) -> None:
    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM)

    undo(world.doing(), lot.made_by)

    assert (drying_of(fresh(lot)), dryings()) == (None, [])


# --- over time -------------------------------------------------------------------------------


def test_a_ratio_implies_the_water_of_the_fresh_mushroom() -> None:
    # 1 - 0.9 / 9.5 = 0.905263...
    assert implied_moisture(9_500_000) == 905_263


def test_a_species_has_its_ratio_over_all_and_its_median_run(world: World) -> None:
    for weight_mg in (1_120 * GRAM, 1_200 * GRAM, 1_250 * GRAM):
        dried(world, Draw(crop(world), 10 * KG), dried_mg=weight_mg)

    report = drying_report(dryings(), world.farm, made(world), of="Every species")

    # 30 / 3.57 = 8.40; the middle run is 10 / 1.2 = 8.33, which implies 1 - 0.9 / 8.3333 = 89.2 %.
    assert report.tables[0].rows == (
        ("Oyster", 3, 30 * KG, 3_570 * GRAM, "8.40", "8.33", 892_000, 891_800),
    )
    assert len(report.drawings) == 1
    assert "median 8.33" in report.drawings[0].title


def test_a_single_run_draws_no_curve(world: World) -> None:
    dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM)

    assert drying_report(dryings(), world.farm, made(world), of="").drawings == ()


def made(world: World) -> Made:
    return Made(world.farm.name, world.farm.currency, "olive", world.now)


# --- pages -----------------------------------------------------------------------------------


def test_the_form_takes_hours_and_says_that_drying_kills_nothing(
    owner: Client, world: World
) -> None:
    lot = crop(world)
    page = owner.get("/record/dry/")
    assert "does not kill germs" in page.content.decode()
    form = page.context["form"]
    data = {name: form[name].value() or "" for name in form.fields}
    data |= {
        f"draws_{lot.pk}": "10",
        "dried_mg": "1.2",
        "temperature_milli_c": "55",
        "minutes_drying": "9:30",
        "slice_mm": "6",
        "trays": "8",
        "when": f"{world.now:%Y-%m-%dT%H:%M}",
    }

    text = owner.post("/record/dry/", data, follow=True).content.decode()

    assert '"minutes_drying":570' in Entry.objects.get(kind="dry").particulars
    assert "at 9.8\u00a0% water, wet basis" in text
    assert "6 mm" in text


def test_the_lot_shows_its_balance(owner: Client, world: World) -> None:
    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM)

    text = owner.get(f"/lots/{lot.code}/").content.decode()

    assert "Should be at 10\u00a0% water" in text
    assert "8.33 to 1" in text


@pytest.mark.parametrize("ending", ["pdf", "xlsx"])
def test_the_runs_are_taken_away(owner: Client, world: World, ending: str) -> None:
    for weight_mg in (1_150 * GRAM, 1_200 * GRAM):
        dried(world, Draw(crop(world), 10 * KG), dried_mg=weight_mg)

    shown = owner.get("/drying/")
    file = owner.get(f"/drying/?species={world.species.pk}&file={ending}")

    assert "Drying" in shown.content.decode()
    assert file["Content-Disposition"] == f'attachment; filename="drying.{ending}"'
    assert len(file.content) > 1_000


def test_dried_lots_become_pouches(world: World) -> None:
    lot = dried(world, Draw(crop(world), 10 * KG), dried_mg=1_200 * GRAM)
    pouch = Product.objects.create(
        name="Dried oyster, 30 g",
        species=world.species,
        form=Form.DRIED,
        net_mg=30 * GRAM,
        pack=PackKind.AIRTIGHT,
    )

    made_of = pack(world.doing(), product=pouch, packs=20, draws=[Draw(lot, 610 * GRAM)])

    card = made_of.lots[-1].card
    assert (card.stage, card.species, on_hand(lot)) == (Stage.PACKS, world.species, 590 * GRAM)
    assert_book_is_sound()
