"""Check weights: packs on the scale, recorded, judged by what they hold on their last day."""

import pytest
from django.test import Client

from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import undo
from farm.actions.store.check_weights import check_weights
from farm.models import Form, PackKind, Product
from farm.queries.store.check_weights import filling_of, weighings
from ledger.book import Recorded
from ledger.errors import Malformed
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.goods import crop, on_hand, packs
from tests.farm.world import GRAM, World, assert_book_is_sound

pytestmark = pytest.mark.django_db

TARE = 9 * GRAM


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def weighed(world: World, lot: Lot, *net_g: int, sure: bool = False) -> Recorded:
    gross = [TARE + net * GRAM for net in net_g]
    return check_weights(world.doing(sure=sure), lot=lot, tare_mg=TARE, gross_mg=gross)


def test_packs_are_judged_without_their_tare_and_after_the_expected_loss(world: World) -> None:
    # Oyster keeps 6 days and loses half of the 2 % a day that it may (belief), so 1 % a day:
    # 207, 208 and 209 g average 208 g today, and 208 x 0.99^6 = 195.828 g then: 4.17 g short.
    lot = packs(world)
    weighed(world, lot, 207, 208, 209)

    (found,) = weighings("kg", lot)
    assert found.judged.nets_mg == (207 * GRAM, 208 * GRAM, 209 * GRAM)
    assert (found.judged.rate_ppm, found.judged.days) == (10_000, 6)
    assert (found.judged.mean_mg, found.judged.mean_then_mg) == (208 * GRAM, 195_827)
    assert found.judged.verdict == "short on average"
    assert on_hand(lot) == 40
    assert_book_is_sound()


def test_the_loss_ends_on_the_last_day_of_sale(world: World) -> None:
    lot = packs(world)
    world.wait(5)
    weighed(world, lot, 203, 204)

    (found,) = weighings("kg", lot)
    assert (found.judged.days, found.judged.verdict) == (1, "holds")


def test_what_is_dried_loses_nothing(world: World) -> None:
    pouch = Product(
        species=world.species,
        form=Form.DRIED,
        pack=PackKind.AIRTIGHT,
        net_mg=30 * GRAM,
        name="Dried, 30 g",
    )
    pouch.save()

    # A belief: hand filling scatters by 1 %, so 30 + 1.645 x 0.3 = 30.4935 g.
    found = filling_of(pouch, "kg")
    assert (found.loss.days, found.fill_mg) == (0, 31 * GRAM)


def test_the_farms_own_scatter_says_how_full_to_fill(world: World) -> None:
    # Belief first: 200 / 0.99^6 = 212.428 and 1.645 x 2 g = 3.29: 215.718, so 216 g. Weighed to
    # within 1 g: 1.645 more, 214.073, so 215 g.
    assert filling_of(world.product, "kg").fill_mg == 216 * GRAM

    weighed(world, packs(world), 211, 212, 213)

    found = filling_of(world.product, "kg")
    assert (found.spread_mg, found.checked, found.fill_mg) == (1_000, 3, 215 * GRAM)


def test_a_record_that_is_taken_back_counts_no_more(world: World) -> None:
    entry = weighed(world, packs(world), 207, 209).entry

    undo(world.doing(), entry)

    assert weighings("kg") == []


def test_a_record_sent_twice_is_one(world: World) -> None:
    lot, doing = packs(world), world.doing()
    for _ in range(2):
        check_weights(doing, lot=lot, tare_mg=TARE, gross_mg=[215 * GRAM])

    assert len(weighings("kg")) == 1


def test_no_pack_and_a_pack_lighter_than_its_tare_are_refused(world: World) -> None:
    lot = packs(world)

    with pytest.raises(Malformed, match=f"Lot {lot.code}: no pack was weighed"):
        check_weights(world.doing(), lot=lot, tare_mg=TARE, gross_mg=[])
    with pytest.raises(Malformed, match="weighs no more than its tare"):
        weighed(world, lot, 0)


def test_only_packs_are_weighed_so(world: World) -> None:
    with pytest.raises(Malformed, match="is picked, not packed"):
        weighed(world, crop(world), 200)


def test_a_pack_off_by_more_than_a_fifth_asks(world: World) -> None:
    # A fifth of 200 g is 40 g.
    lot = packs(world)
    weighed(world, lot, 240, 160)

    with pytest.raises(PlausibilityQuestion, match="Is that right"):
        weighed(world, lot, 241)
    assert weighed(world, lot, 241, sure=True).fresh


def test_the_verdict_stays_when_the_belief_changes(world: World) -> None:
    weighed(world, packs(world), 207, 209)
    before = weighings("kg")[0].judged
    species = world.species
    species.water_loss_ppm, species.fridge_days = 90_000, 20
    species.save()

    assert weighings("kg")[0].judged == before


# --- on the pages ----------------------------------------------------------------------------


def test_packs_are_weighed_on_a_page_in_grams(world: World, client: Client) -> None:
    world.product.tare_mg = TARE
    world.product.save()
    lot = packs(world)
    address = f"/record/check-weights/?lot={lot.code}"
    form = client.get(address).context["form"]
    assert form["tare"].value() == "9 g"
    assert 'data-mass="g"' in str(form["tare"])  # beside it, 9 is said in pounds as grams
    # Number keys of some phones have neither a blank nor a new line.
    assert "inputmode" not in str(form["weights"])

    sent = {
        "weights": "216.5 217, 218\n",
        "tare": "9",
        "uuid": form["uuid"].value(),
        "when": form["when"].value().strftime("%Y-%m-%dT%H:%M"),
    }
    assert client.post(address, sent).status_code == 302
    assert weighings("kg")[0].judged.nets_mg == (207_500, 208 * GRAM, 209 * GRAM)


def test_the_page_says_how_full_to_fill(world: World, client: Client) -> None:
    lot = packs(world)
    weighed(world, lot, 211, 212, 213)
    page = client.get("/check-weights/").content.decode()

    assert "215" in page
    assert lot.code in page
    for ending in ("pdf", "xlsx"):
        assert client.get(f"/check-weights/?file={ending}").status_code == 200


def test_the_form_of_packing_says_how_full_to_fill(world: World, client: Client) -> None:
    crop(world)
    address = f"/record/pack/?product={world.product.pk}&packs=10"

    page = client.get(address).content.decode()
    assert "Fill 216 g to hold 200 g after 6 days, in 95 % of packs." in page
