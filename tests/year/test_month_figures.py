"""Every month, and days that begin and end on busy days, worked a second time from the bare lines.

The page, the spreadsheet, the CSV and the paper say what `tests/second_working.py` says, to the
gram and the cent; a closed month says what the book knew when it was closed.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from html import unescape
from itertools import pairwise

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoDbBlocker

from farm.models import ClosedMonth, Person, Role
from ledger.models import Entry, Flow
from tests.conftest import signed_in
from tests.printed_tables import Read, Tables, as_number, of_page, of_pdf, of_workbook, of_zip
from tests.second_costs import differences, second_costs
from tests.second_tables import tables
from tests.second_working import Facts, read_as_shown, read_facts

pytestmark = pytest.mark.django_db

NUMBER = re.compile(r"-?[\d,]*\d(\.\d+)?")


@dataclass
class Shown:
    """Some days as they are shown: ``address``; ``facts``: what the book knew of them then."""

    name: str
    first: date
    last: date
    address: str
    facts: Facts


@pytest.fixture(scope="module")
def shown(played: object, django_db_blocker: DjangoDbBlocker) -> list[Shown]:
    with django_db_blocker.unblock():
        return [*months(), *spans()]


def months() -> list[Shown]:
    firsts = sorted({one.happened_on.replace(day=1) for one in Entry.objects.all()})
    closed = {one.month: one.until_seq for one in ClosedMonth.objects.all()}
    return [
        Shown(
            f"{first:%B %Y}",
            first,
            last_of(first),
            f"/month/{first:%Y-%m}/",
            read_facts(closed.get(first)),
        )
        for first in firsts
    ]


def last_of(first: date) -> date:
    days = [first.replace(day=day) for day in range(28, 32) if is_day(first, day)]
    return days[-1]


def is_day(first: date, day: int) -> bool:
    try:
        first.replace(day=day)
    except ValueError:
        return False
    return True


def spans() -> list[Shown]:
    """From the busiest day of one month to the busiest of the next, and within one."""
    facts = read_as_shown()
    busy: dict[tuple[int, int], Counter[date]] = {}
    for one in facts.moved:
        busy.setdefault(one.month, Counter())[one.day] += 1
    days = [counted.most_common(1)[0][0] for _, counted in sorted(busy.items())]
    ends = [*pairwise(days), (days[0], days[-1]), (days[1], days[1])]
    return [
        Shown(f"{first} to {last}", first, last, f"/days/?first={first}&last={last}", facts)
        for first, last in ends
    ]


@pytest.fixture
def client(played: object) -> Client:
    return signed_in(Person.objects.filter(role=Role.OWNER).earliest("pk"))


def compare(read: Tables, days: Shown, where: str) -> int:
    """Hold every table against the second working; give back how many numbers agreed.

    A table that is not there says nothing, and agrees where nothing was worked either.
    """
    agreed = 0
    for table in tables(days.facts, days.first, days.last):
        if where == "page" and table.title == "Sales by customer":
            continue  # the page names customers
        found = there(read, table.title).by(table.keys, table.numbers)
        if table.title == "Sales tax by rate":  # each writes a rate in its own way
            assert sorted(found.values()) == sorted(table.rows.values()), (days.name, where)
        else:
            off = {
                key: (words(found.get(key)), words(table.rows.get(key)))
                for key in found.keys() | table.rows.keys()
                if found.get(key) != table.rows.get(key)
            }
            assert not off, (days.name, where, table.title, off)
        agreed += sum(map(len, table.rows.values()))
    return agreed


def test_every_flow_costs_what_lines_and_charges_come_to(played: object) -> None:
    flows = [
        ((one.entry_id, one.lot_id, str(one.role)), sum(one.cost)) for one in Flow.objects.all()
    ]

    assert differences(second_costs(), flows) == {}
    assert len(flows) > 500


def test_the_page_says_what_the_lines_come_to(shown: list[Shown], client: Client) -> None:
    agreed = [compare(page_of(client, days), days, "page") for days in shown]

    assert min(agreed) > 20


def test_the_spreadsheet_says_it_too(shown: list[Shown], client: Client) -> None:
    for days in shown:
        assert compare(of_workbook(file_of(client, days, "xlsx")), days, "xlsx") > 20


def test_the_csv_of_every_table_says_it_too(shown: list[Shown], client: Client) -> None:
    for days in shown:
        titles = list(of_workbook(file_of(client, days, "xlsx")))
        assert compare(of_zip(file_of(client, days, "zip"), titles), days, "zip") > 20


def test_the_paper_prints_every_row_of_the_page(shown: list[Shown], client: Client) -> None:
    for days in shown:
        words = of_pdf(file_of(client, days, "pdf"))
        page = page_of(client, days)
        page.pop("Frozen files", None)  # not known when the paper was made
        rows = [row for table in page.values() for row in table.rows]
        runs = [run for row in rows if (run := figures_in(row))]
        assert [run for run in runs if run not in words] == [], days.name
        assert len(runs) > 10


def test_no_days_ask_the_database_twenty_times(shown: list[Shown], client: Client) -> None:
    for days in shown:
        with CaptureQueriesContext(connection) as asked:
            client.get(days.address)
        assert len(asked) < 20, days.name


def test_every_printed_column_comes_to_its_total(shown: list[Shown], client: Client) -> None:
    for days in shown:
        for title, table in page_of(client, days).items():
            for name, total, column in totals_of(table):
                assert sum(map(as_number, column)) == as_number(total), (days.name, title, name)


def test_the_year_is_its_months(shown: list[Shown], client: Client) -> None:
    """Each row says what the month's own page says."""
    by_month = [days for days in shown if days.address.startswith("/month/")]
    compared = 0
    for number in sorted({days.first.year for days in by_month}):
        table = of_page(client.get(f"/year/{number}/").content.decode())["Month by month"]
        rows = table.by(
            ("Month",),
            ("Picked", "Net sales", "Gross sales", "Cost of sales", "Selling costs", "Lost"),
        )
        for days in by_month:
            if days.first.year != number:
                continue
            page = page_of(client, days)
            places, harvest = there(page, "Sales by place"), there(page, "Harvest by species")
            # A month in which nothing was picked, sold or lost has a row of nothing, or none.
            assert rows.get((f"{days.first:%Y-%m}",), [Decimal()] * 6) == [
                total_of(harvest, "Picked"),
                total_of(places, "Net"),
                total_of(places, "Gross"),
                total_of(places, "Cost of sales"),
                total_of(places, "Selling costs"),
                total_of(there(page, "Losses by stage and reason"), "Cost"),
            ], days.name
            compared += 1
        assert len(rows) > 0, number
    assert compared == len(by_month)


def test_bars_are_as_long_as_their_tables_say(shown: list[Shown], client: Client) -> None:
    drawn = 0
    for days in shown:
        html = unescape(client.get(days.address).content.decode())
        table = there(of_page(html), "Harvest by species").by(("Species",), ("Picked",))
        for (species,), (weight,) in table.items():
            assert f"{species} {shortest(weight)} kg" in html, (days.name, species)
            drawn += 1
    assert drawn > 10


def test_what_says_nothing_in_words_is_nothing_and_no_number_passes_as_words() -> None:
    assert [as_number(word) for word in ("", "no bill entered", "1,234.50")] == [
        Decimal(),
        Decimal(),
        Decimal("1234.50"),
    ]
    with pytest.raises(InvalidOperation):
        as_number("12 lots")
    assert there({}, "Sales by place").by(("Place",), ("Net",)) == {}


# --- reading ---------------------------------------------------------------------------------


def page_of(client: Client, days: Shown) -> Tables:
    return of_page(client.get(days.address).content.decode())


def there(page: Tables, title: str) -> Read:
    """Give a table; one that is not there has no rows."""
    return page.get(title) or Read([], [])


def file_of(client: Client, days: Shown, ending: str) -> bytes:
    mark = "&" if "?" in days.address else "?"
    response = client.get(f"{days.address}{mark}file={ending}")
    assert response.status_code == 200
    return b"".join(response) if response.streaming else response.content


def figures_in(row: Sequence[object]) -> str:
    """The figures at the end of a row, as they stand beside each other on paper."""
    run: list[str] = []
    for cell in reversed(row):
        words = str(cell)
        if words and not words.replace(",", "").replace(".", "").lstrip("-").isdigit():
            break
        if words:
            run.insert(0, words)
    return " ".join(run)


def totals_of(table: Read) -> Iterator[tuple[str, str, list[str]]]:
    """A total that says in words that something is missing is none."""
    for at, total in enumerate(table.total[1:], start=1):
        if NUMBER.fullmatch(str(total)):
            yield table.heads[at], str(total), [str(row[at]) for row in table.rows]


def total_of(table: Read, head: str) -> Decimal:
    return as_number(table.total[table.heads.index(head)]) if table.rows else Decimal()


def shortest(weight: Decimal) -> str:
    """Write kilos as a drawing does: two decimals, and the third where there is one."""
    digits = f"{weight:.3f}"
    return digits.removesuffix("0")


def words(numbers: list[Decimal] | None) -> str:
    """Write numbers short, for what a failing test says."""
    return " ".join(f"{number.normalize():f}" for number in numbers or [])
