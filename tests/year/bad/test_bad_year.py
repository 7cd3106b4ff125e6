"""What a bad year must come to: each mishap by hand, and the whole of it by other ways."""

import pytest

from tests.farm.world import assert_book_is_sound
from tests.mishaps.year import MISHAPS
from tests.year.bad.conftest import BadYear

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("mishap", [mishap.__name__ for mishap in MISHAPS])
def test_a_mishap_comes_to_what_was_worked_by_hand(bad: BadYear, mishap: str) -> None:
    musts = bad.musts[mishap]

    assert {must.what: must.comes_to() for must in musts} == {
        must.what: must.by_hand for must in musts
    }


def test_the_book_holds(bad: BadYear) -> None:
    assert_book_is_sound()
