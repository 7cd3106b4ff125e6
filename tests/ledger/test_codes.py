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
