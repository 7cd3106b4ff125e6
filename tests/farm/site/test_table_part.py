"""The one layout of every list: sortable heads, leaves, words when it is empty."""

from collections.abc import Mapping, Sequence

import django_tables2 as tables
import pytest
from django.test import RequestFactory

from farm.models.people.people import Farm


class Weighings(tables.Table):
    day = tables.Column()
    weight = tables.Column(
        verbose_name="kg", attrs={"th": {"class": "num"}, "td": {"class": "num"}}
    )

    class Meta:
        empty_text = "Nothing weighed yet."


ROWS = [{"day": f"{day} May", "weight": day} for day in (1, 2, 3)]

pytestmark = pytest.mark.django_db


def laid_out(rows: Sequence[Mapping[str, object]], address: str = "/lots/") -> str:
    request = RequestFactory().get(address)
    table = Weighings(rows)
    tables.RequestConfig(request, paginate={"per_page": 2}).configure(table)
    return str(table.as_html(request))


def test_numbers_stand_in_the_number_column() -> None:
    assert '<td class="num" data-head="kg">1</td>' in laid_out(ROWS)


def test_a_cell_that_is_read_alone_on_a_phone_has_its_head() -> None:
    assert "<td >1 May</td>" in laid_out(ROWS)
    assert laid_out(ROWS).count('data-head="kg"') == 2


def test_a_head_sorts_by_its_column() -> None:
    assert '<a href="?sort=weight">kg</a>' in laid_out(ROWS)


def test_the_sorted_column_says_which_way() -> None:
    assert 'aria-sort="descending"' in laid_out(ROWS, "/lots/?sort=-day")
    assert "aria-sort" not in laid_out(ROWS)


def test_a_long_list_goes_on_over_the_leaf(farm: Farm) -> None:
    first = laid_out(ROWS)

    assert "Leaf 1 of 2" in first
    assert "3 May" not in first
    assert "3 May" in laid_out(ROWS, "/lots/?page=2")


def test_an_empty_list_says_so() -> None:
    assert "Nothing weighed yet." in laid_out([])
