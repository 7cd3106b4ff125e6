"""GS1 keys: check digits as published, and what is wrong with a key said plainly."""

import pytest
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gtin import Gtin
from django.core.exceptions import ValidationError
from django.test import Client

from farm.gs1 import (
    CANONICAL,
    begins_with,
    check_digit,
    gtin_14,
    is_company_prefix,
    is_gln,
    is_gtin,
    link_of_lot,
    lot_in_link,
)
from farm.models import Product
from farm.pages.lookups.lookup_form import LookupForm
from farm.pages.lookups.lookup_forms import lookup_form
from farm.pages.lookups.lookup_list import BY_SLUG
from tests.farm.filled import text
from tests.farm.world import World

# 9501101530003 is the GTIN that GS1 uses in its own documents (as biip's do).
GTIN = "9501101530003"


@pytest.mark.parametrize(
    ("digits", "check"),
    [
        ("629104150021", "3"),  # gs1.org, "How to calculate a check digit manually": 57 and 3
        ("730001100001", "7"),  # GS1 Sweden: 5 x 3 + 8 = 23 and 7
        ("890400021003", "7"),  # GS1 India: 18 x 3 + 9 = 63 and 7
        ("0401234511111", "8"),  # EPCIS 2.0 examples: LGTIN 4012345.011111 is GTIN 04012345111118
        ("7061414112345", "1"),  # EPCIS 2.0 examples: /01/70614141123451
    ],
)
def test_published_check_digits(digits: str, check: str) -> None:
    assert check_digit(digits) == check


@pytest.mark.parametrize("key", ["96385074", "614141123452", GTIN, "09501101530003"])
def test_another_reader_of_gs1_finds_the_same_keys_right(key: str) -> None:
    """By biip, which knows nothing of us; 96385074 is a GTIN-8 often printed, from memory."""
    is_gtin(key)

    assert Gtin.parse(key).as_gtin_14() == gtin_14(key)


def test_a_wrong_digit_is_answered_with_the_right_check_digit() -> None:
    with pytest.raises(ValidationError, match="9501101530004 is no GTIN: it would end in 3, not 4"):
        is_gtin("9501101530004")


@pytest.mark.parametrize("key", ["", "950110153000", "95011O1530003", "950110153000³", "1" * 15])
def test_a_gtin_of_other_lengths_or_signs_is_refused(key: str) -> None:
    with pytest.raises(ValidationError, match="GTIN"):
        is_gtin(key)


@pytest.mark.parametrize("key", ["2112345678900", "0212345678909"])
def test_a_number_for_one_shop_is_refused(key: str) -> None:
    assert check_digit(key[:-1]) == key[-1]
    with pytest.raises(ValidationError, match="within one shop"):
        is_gtin(key)


def test_a_gln_has_thirteen_digits() -> None:
    """7300011000017 of GS1 Sweden has them; a GTIN of 14 does not."""
    is_gln("7300011000017")
    with pytest.raises(ValidationError, match="one has 13 digits"):
        is_gln("09501101530003")


@pytest.mark.parametrize("prefix", ["9501", "950110153", "950110153000"])
def test_a_company_prefix_has_four_to_twelve_digits(prefix: str) -> None:
    is_company_prefix(prefix)


@pytest.mark.parametrize("prefix", ["950", "9501101530003", "95 01"])
def test_another_company_prefix_is_refused(prefix: str) -> None:
    with pytest.raises(ValidationError, match="4 to 12 digits"):
        is_company_prefix(prefix)


@pytest.mark.parametrize("gtin", [GTIN, f"0{GTIN}", "19501101530000", "96385074"])
def test_a_farms_number_begins_with_its_prefix_however_it_is_packed(gtin: str) -> None:
    """1 before it is a case of the same pack; eight digits are given out by GS1 one by one."""
    assert begins_with(gtin, "95011015")


def test_a_us_prefix_is_known_with_and_without_its_zero() -> None:
    """614141 is the U.P.C. company prefix of the GS1 examples, 0614141 the same as GS1's."""
    assert begins_with("614141123452", "614141") and begins_with("614141123452", "0614141")
    assert not begins_with("614141123452", "950110")


def test_a_link_says_the_same_to_another_reader() -> None:
    link = link_of_lot(CANONICAL, GTIN, "K7M4Q")
    read = GS1DigitalLinkURI.parse(link)

    assert link == "https://id.gs1.org/01/09501101530003/10/K7M4Q"
    assert [(one.ai.ai, one.value) for one in read.element_strings] == [
        ("01", "09501101530003"),
        ("10", "K7M4Q"),
    ]


@pytest.mark.parametrize(
    ("path", "lot"),
    [
        ("01/09501101530003/10/K7M4Q", "K7M4Q"),
        ("01/09501101530003/10/K7M4Q/21/12", "K7M4Q"),
        ("01/09501101530003/22/2A/10/K7M4Q", "K7M4Q"),
        ("shop/01/09501101530003/10/K7M4Q", "K7M4Q"),
        ("01/09501101530003", ""),
        ("lots/K7M4Q", ""),
    ],
)
def test_the_lot_of_a_link_follows_10(path: str, lot: str) -> None:
    """Key qualifiers of 01 stand in the order 22, 10, 21 (GS1 syntax dictionary, dlpkey)."""
    assert lot_in_link(path.split("/")) == lot


# --- where they are typed --------------------------------------------------------------------


def test_a_product_keeps_its_number_in_fourteen_digits(world: World) -> None:
    saved = product_form(world, GTIN)

    assert saved.errors == {}
    assert saved.save().gtin == "09501101530003"


def test_two_products_never_share_a_number(world: World) -> None:
    product_form(world, GTIN).save()
    other = Product.objects.create(
        name="Oyster, 500 g", species=world.species, form="fresh", net_mg=500_000, pack="open"
    )

    assert "Another product has this GTIN" in str(product_form(world, GTIN, other).errors)


def test_a_number_of_another_company_is_refused(world: World) -> None:
    world.farm.company_prefix = "952005"
    form = product_form(world, GTIN)

    assert "GS1 prefix, 952005" in str(form.errors["gtin"])


def test_the_farms_own_form_says_which_digit_is_wrong(owner: Client, world: World) -> None:
    sent = owner.post("/look-ups/farm/", {"gln": "7300011000018"})

    assert "7300011000018 is no GLN: it would end in 7, not 8" in text(sent)


def product_form(world: World, gtin: str, product: Product | None = None) -> LookupForm:
    lookup = BY_SLUG["products"]
    row = product or world.product
    shown = {
        "name": row.name,
        "species": row.species_id,
        "form": row.form,
        "pack": row.pack,
        "net_mg": "200 g",
        "tax_ppm": "0",
        "gtin": gtin,
    }
    return lookup_form("products", Product, lookup.fields)(shown, instance=row, farm=world.farm)
