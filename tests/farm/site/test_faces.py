"""Names on paper are written as people write them, in Latin, Greek and Cyrillic."""

from datetime import UTC, date, datetime

import pytest
from django.test import Client

from farm.queries.stock import lot_by_code
from farm.queries.tracing.labels import labels_of
from farm.reports.faces import font, plain, text_width
from farm.reports.pdf import pdf_bytes
from farm.reports.records.binder_pdf import binder_pdf
from farm.reports.records.binder_rows import Span, binder_cover, sections
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Report, Table
from farm.reports.tracing.label_sheets import SHEETS
from farm.reports.tracing.labels import labels_pdf
from tests.farm.goods import packs
from tests.farm.papers import pdf_words
from tests.farm.sold import invoiced, selling_farm, sold
from tests.farm.world import World

NAMES = ("Łukasz Świętek", "Jan Žižka", "Ωμέγα Πειραιάς", "Щука Їжак", "Ñandú, Straße 5")
WHEN = datetime(2026, 11, 2, 18, 30, tzinfo=UTC)


def report(*names: str) -> Report:
    facts = tuple(Fact("Customer", name) for name in names)
    rows = tuple((name,) for name in names)
    table = Table("Names", (Column("Name"),), rows)
    return Report("Names", "", "Alder Lane", "olive", WHEN, facts=facts, tables=(table,))


@pytest.mark.parametrize("name", NAMES)
def test_a_report_writes_a_name_as_it_is(name: str) -> None:
    """Once in its facts and once in its table."""
    assert pdf_words(pdf_bytes(report(name))).count(name) == 2


def test_the_same_names_give_the_same_bytes() -> None:
    assert pdf_bytes(report(*NAMES)) == pdf_bytes(report(*NAMES))


def test_only_the_letters_used_go_into_the_file() -> None:
    """The whole face has 800 kB in two weights; Western European names need none of it."""
    assert len(pdf_bytes(report(*NAMES))) < 60_000
    assert b"FiraGO" not in pdf_bytes(report("Ñandú, Straße 5"))


def test_words_are_measured_in_the_face_that_they_are_set_in() -> None:
    assert font(False, "Straße") == "Helvetica"
    assert font(True, "Łódź") != font(False, "Łódź") != "Helvetica"
    assert text_width("Łódź", 10) == pytest.approx(text_width("Łódź", 20) / 2)


def test_a_mark_that_comes_apart_is_put_together() -> None:
    """Some keyboards send Z and its caron as two signs."""
    assert plain("Z\u030ci\u017eka") == "Žižka"


def test_what_no_face_can_set_is_marked_and_signs_are_spelled_out() -> None:
    assert plain("日本 5 → 6") == "?? 5 -> 6"
    assert plain("שלום Łukasz") == "???? Łukasz"


def test_an_invoice_names_its_customer(owner: Client, db: None) -> None:
    world = selling_farm()
    world.customer.name, world.customer.address = "Łukasz Świętek", "Ωμέγα 5, Žižkov"
    world.customer.save()
    sold(world, packs(world), 10)
    words = paper(owner, f"/invoices/{invoiced(world)}/?file=pdf")

    assert "Łukasz Świętek" in words and "Ωμέγα 5, Žižkov" in words


def test_a_label_says_whose_it_is(world: World) -> None:
    world.farm.name = "Pečurka Żółć"
    lot = lot_by_code(packs(world).code)
    assert lot
    printed = pdf_words(labels_pdf(labels_of([lot], world.farm), SHEETS["62x29"]))

    assert "Pečurka Żółć" in printed


def test_the_binder_heads_its_pages_with_the_farm(world: World) -> None:
    world.farm.name = "Ωμέγα Žižka"
    span = Span(date(2026, 9, 1), date(2026, 9, 30))
    made = Made("Ωμέγα Žižka, Łódź", "EUR", "olive", WHEN)
    words = pdf_words(binder_pdf(binder_cover(span, world.farm, made), sections(span, world.farm)))

    assert "Ωμέγα Žižka, Łódź" in words


def paper(client: Client, address: str) -> str:
    response = client.get(address)
    return pdf_words(b"".join(response) if response.streaming else response.content)
