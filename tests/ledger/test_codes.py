"""Lot codes: every wrong sign and every swap of neighbours is noticed."""

import re

import pytest

from ledger.codes import ALPHABET, check_character, is_code, lot_code, near, tidy

NUMBERS = [1, 2, 31, 999, 31**4 - 1, 31**4 + 5]


@pytest.mark.parametrize("number", NUMBERS)
def test_every_single_wrong_sign_is_noticed(number: int) -> None:
    code = lot_code(number)
    assert is_code(code)
    for k, right in enumerate(code):
        for wrong in ALPHABET.replace(right, ""):
            assert not is_code(code[:k] + wrong + code[k + 1 :])


@pytest.mark.parametrize("number", NUMBERS)
def test_every_swap_of_neighbours_is_noticed(number: int) -> None:
    code = lot_code(number)
    for k in range(len(code) - 1):
        swapped = code[:k] + code[k + 1] + code[k] + code[k + 2 :]
        assert swapped == code or not is_code(swapped)


def test_the_check_sign_agrees_with_the_isbn_method() -> None:
    # ISO 2108, ISBN-10 0-306-40615-2 (from memory): weights 2, 3, ... from the right, modulo 11:
    # 5*2+1*3+6*4+0*5+4*6+6*7+0*8+3*9+0*10 = 130; 130 + 2 = 132 = 12 * 11.
    assert check_character("030640615", alphabet="0123456789X") == "2"


@pytest.mark.parametrize(
    ("number", "code"),
    [
        # 387,041 + 271,828 = 658,869 = 22 * 31^3 + 3 * 31^2 + 18 * 31 + 26: R, 5, M, V. Weighed
        # 22 * 5 + 3 * 4 + 18 * 3 + 26 * 2 = 228, and 228 + 20 = 8 * 31: P.
        (1, "R5MVP"),
        # 5 * 387,041 + 271,828 - 2 * 923,521 = 359,991, after the first 923,521: 1, 12, 2, 18, 19.
        # 1 * 6 + 12 * 5 + 2 * 4 + 18 * 3 + 19 * 2 = 166, and 166 + 20 = 6 * 31.
        (31**4 + 5, "3E4MNP"),
    ],
)
def test_a_number_has_the_code_that_is_on_its_labels(number: int, code: str) -> None:
    """Whatever is changed, a lot on a shelf keeps its code."""
    assert lot_code(number) == code


def test_twelve_signs_are_the_most_that_is_a_code() -> None:
    twelve, thirteen = (body + check_character(body) for body in ("R" * 11, "R" * 12))
    assert is_code(twelve)
    assert not is_code(thirteen)
    assert twelve in near("2" + twelve[1:])
    assert near("2" + thirteen[1:]) == []


def test_a_code_has_no_sign_that_reads_as_another() -> None:
    assert not set("0O1IL") & set(ALPHABET)
    assert len(set(ALPHABET)) == 31


def test_numbers_never_share_a_code() -> None:
    assert len({lot_code(number) for number in range(5_000)}) == 5_000


def test_codes_are_five_signs_long_until_there_are_a_million() -> None:
    assert {5} == {len(lot_code(number)) for number in range(1, 31**4, 9_973)}
    assert len(lot_code(31**4)) == 6


def test_neighbouring_lots_look_different() -> None:
    ones, others = lot_code(100)[:4], lot_code(101)[:4]
    assert sum(a != b for a, b in zip(ones, others, strict=True)) >= 2


def test_tidying_forgives_what_hands_do() -> None:
    code = lot_code(7)
    assert code == tidy(f" {code[:2].lower()}-{code[2:]} ")


def test_a_mistyped_code_leads_to_the_right_one() -> None:
    code = lot_code(7)
    wrong = "2" if code[0] != "2" else "3"
    assert code in near(wrong + code[1:])


@pytest.mark.parametrize("text", ["", "2", "ABC", "OOOOO"])
def test_what_is_no_code_is_known(text: str) -> None:
    assert not is_code(text)


def test_a_code_is_safe_in_a_file_name() -> None:
    assert re.fullmatch(r"[A-Z2-9]{5}", lot_code(1))
