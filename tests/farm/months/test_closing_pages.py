"""The pages and commands of closing and bills: who may, what is served, what is refused."""

import io
from pathlib import Path
from uuid import uuid4
from zipfile import ZipFile

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farm.actions.recording import unfinished
from farm.actions.recording.correcting import correct_quantity
from farm.models import Bill, ClosedMonth, Farm, Person, Role
from ledger.errors import OnHold
from ledger.models import Entry, Lot
from ledger.models import Role as LineRole
from tests.conftest import person_in_role, signed_in
from tests.farm.closed import (
    LATER,
    NOVEMBER,
    OCTOBER,
    SEPTEMBER,
    blocks,
    close,
    flush,
    go_to,
    sold,
    spent,
)
from tests.farm.goods import crop
from tests.farm.world import GRAM, KG, UNIT, World, fresh, small_farm

CLOSE = "/month/2026-09/close/"
BILL = {"kind": "energy", "paid_money": "8.00"}


@pytest.fixture
def small(farm: Farm, owner_person: Person, helper_person: Person, reader_person: Person) -> World:
    """The small farm around the cast, in September."""
    world = small_farm()
    go_to(world, SEPTEMBER)
    return world


@pytest.fixture
def long_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """Today is in December 2026."""
    monkeypatch.setattr(timezone, "now", lambda: LATER)


pytestmark = pytest.mark.usefixtures("long_over")


def read(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


def test_a_months_other_answers_are_folded_and_its_closing_is_not(small: World) -> None:
    """On a phone they would be six rows of buttons before the first figure."""
    sold(small, crop(small), KG)
    page = read(signed_in(small.owner), "/month/2026-09/")
    folded = page.partition("<summary>Other answers</summary>")[2].partition("</details>")[0]

    assert [word in folded for word in ("Against plan", "Bills", "Close September 2026")] == [
        True, True, False,
    ]  # fmt: skip
    assert page.count(">Close September 2026</a>") == 1


def two_sales(world: World) -> tuple[Lot, Entry]:
    lot = crop(world)
    return lot, sold(world, lot, 3 * KG).entry


# --- who may ---------------------------------------------------------------------------------


def test_only_the_owner_closes(small: World, owner: Client, helper: Client, reader: Client) -> None:
    crop(small)

    assert [who.post(CLOSE).status_code for who in (helper, reader)] == [403, 403]
    assert owner.post(CLOSE)["Location"] == CLOSE
    assert ClosedMonth.objects.get().by.role == Role.OWNER


def test_a_bookkeeper_is_told_who_closes(small: World, reader: Client) -> None:
    crop(small)

    assert f'href="{CLOSE}">Closing of September 2026' in read(reader, "/month/2026-09/")
    assert "The owner closes a month." in read(reader, CLOSE)


def test_a_bookkeeper_enters_bills_and_takes_frozen_files_and_a_helper_neither(
    small: World, reader: Client, helper: Client
) -> None:
    crop(small)
    close(small)

    assert "Enter a bill" in read(reader, "/bills/?month=2026-09")
    assert helper.post("/bills/?month=2026-09", BILL).status_code == 403
    assert reader.get("/closed/month-2026-09.pdf").status_code == 200
    assert helper.get("/closed/month-2026-09.pdf").status_code == 403
    assert helper.get("/bills/").status_code == 403


# --- closing ---------------------------------------------------------------------------------


def test_the_page_names_what_stops_it_and_offers_no_button(small: World, owner: Client) -> None:
    crop(small)
    unfinished.keep("sell", small.doing(), {"when": ["2026-09-12T08:00"]},
                    refusal=OnHold("Lot X is on hold."))  # fmt: skip
    page = read(owner, CLOSE)

    assert "Lot X is on hold" in page
    assert 'href="/unfinished/"' in page
    assert '<button class="main">Close' not in page
    owner.post(CLOSE)
    assert not ClosedMonth.objects.exists()


def test_closing_shows_the_digest_of_every_file(small: World, owner: Client) -> None:
    crop(small)
    assert "Close September 2026" in read(owner, CLOSE)
    owner.post(CLOSE)
    page = read(owner, CLOSE)
    closed = ClosedMonth.objects.get()

    assert all(file.sha256 in page and file.name in page for file in closed.files.all())
    assert closed.sha256 in page


def test_provisional_blocks_are_named_and_stop_nothing(small: World, owner: Client) -> None:
    lot = blocks(small)
    flush(small, lot, 1, 500 * GRAM)

    assert lot.code in read(owner, CLOSE)
    assert '<button class="main">Close' in read(owner, CLOSE)


def test_the_month_page_says_open_or_closed(small: World, owner: Client) -> None:
    crop(small)
    assert "open, the earliest" in read(owner, "/month/2026-09/")
    assert CLOSE in read(owner, "/month/2026-09/")
    owner.post(CLOSE)

    page = read(owner, "/month/2026-09/")
    assert "closed 3 Dec 2026" in page
    assert "SHA-256" in page
    assert "October 2026" in read(owner, "/month/")


def test_a_month_worked_now_names_its_customers_and_its_files_and_a_closed_one_number_them(
    small: World, reader: Client
) -> None:
    two_sales(small)
    address, name, number = "/month/2026-09/", small.customer.name, small.customer.number
    worked, tables = read(reader, address), reader.get(f"{address}?file=zip").content
    close(small)
    closed = read(reader, address)
    with ZipFile(io.BytesIO(tables)) as files:
        filed = b"".join(files.read(one) for one in files.namelist()).decode()

    assert (name in worked, number in worked) == (True, False)
    assert [(name in text, number in text) for text in (closed, filed)] == [(False, True)] * 2


def test_the_page_and_its_files_are_the_frozen_ones_after_later_changes(
    small: World, owner: Client
) -> None:
    lot, sale = two_sales(small)
    owner.post(CLOSE)
    asked = [f"/month/2026-09/?file={ending}" for ending in ("pdf", "xlsx", "csv", "txt")]
    before = [owner.get(address).content for address in asked]
    page = read(owner, "/month/2026-09/").split("<h1>")[1]
    correct_quantity(small.doing(), sale, lot=lot, role=LineRole.SOLD, right_quantity=KG)
    small.customer.name = "Renamed"
    small.customer.save()

    assert [owner.get(address).content for address in asked] == before
    assert read(owner, "/month/2026-09/").split("<h1>")[1] == page
    assert owner.get("/closed/month-2026-09.pdf").content == before[0]
    assert owner.get("/closed/month-2026-01.pdf").status_code == 404


def test_the_next_month_shows_what_changed_since(small: World, owner: Client) -> None:
    lot, sale = two_sales(small)
    close(small)
    correct_quantity(small.doing(), sale, lot=lot, role=LineRole.SOLD, right_quantity=2 * KG)
    page = read(owner, "/month/2026-10/")

    assert "Since closing: sales by line" in page
    assert "closed September 2026" in page
    assert "-1.000" in page


def test_a_month_out_of_order_says_which_is_first(small: World, owner: Client) -> None:
    crop(small)
    page = read(owner, "/month/2026-10/close/")

    assert "/month/2026-10/close/" in read(owner, "/month/2026-10/")
    assert "Close September 2026 first" in page
    assert f'href="{CLOSE}">To the closing of September 2026' in page

    owner.post(CLOSE)
    assert 'href="/month/2026-10/close/">To the closing of October 2026' in read(owner, CLOSE)
    assert owner.get("/month/2026-13/close/").status_code == 404


def test_a_late_entry_says_to_which_closed_month_it_belongs(small: World, owner: Client) -> None:
    small.received("rye", 10 * KG)
    close(small)
    supply = small.supplies["rye"]
    form = {"supply": supply.pk, "quantity": "5 kg", "paid_money": "3.00", "uuid": uuid4(),
            "when": "2026-09-20T10:00"}  # fmt: skip
    response = owner.post("/record/receive-supplies/", form, follow=True)

    assert "It belongs to closed September 2026" in response.content.decode()
    assert "belongs to closed September 2026" in read(owner, response.redirect_chain[-1][0])


# --- bills -----------------------------------------------------------------------------------


def test_a_bill_needs_two_things(small: World, owner: Client) -> None:
    response = owner.post("/bills/?month=2026-09", {**BILL, "uuid": uuid4()}, follow=True)

    assert "The bill is entered" in response.content.decode()
    assert "under-charged" in response.content.decode()
    assert Bill.objects.get().paid_money == 8 * UNIT


def test_a_bill_without_an_amount_is_asked_for_it(small: World, owner: Client) -> None:
    response = owner.post("/bills/?month=2026-09", {"kind": "energy", "uuid": uuid4()})

    assert "This is needed" in response.content.decode()
    assert not Bill.objects.exists()


@pytest.mark.parametrize(("typed", "tax"), [("21 %", 21 * UNIT), ("21.00", 21 * UNIT), ("", 0)])
def test_the_tax_in_a_bill_is_typed_as_a_rate_or_an_amount(
    small: World, owner: Client, typed: str, tax: int
) -> None:
    form = {"kind": "energy", "paid_money": "121.00", "tax": typed, "uuid": uuid4()}
    owner.post("/bills/?month=2026-09", form)

    assert Bill.objects.get().tax_money == tax


@pytest.mark.parametrize("typed", ["much", "121 %", "130.00"])
def test_a_tax_that_cannot_be_is_refused_on_the_form(
    small: World, owner: Client, typed: str
) -> None:
    form = {"kind": "energy", "paid_money": "121.00", "tax": typed, "uuid": uuid4()}
    response = owner.post("/bills/?month=2026-09", form)

    assert "errorlist" in response.content.decode()
    assert not Bill.objects.exists()


def test_a_bill_is_taken_back_on_the_page(small: World, owner: Client) -> None:
    owner.post("/bills/?month=2026-09", {**BILL, "uuid": uuid4()})
    bill = Bill.objects.get()
    assert owner.get(f"/bills/{bill.pk}/take-back/").status_code == 405
    owner.post(f"/bills/{bill.pk}/take-back/")
    owner.post(f"/bills/{bill.pk}/take-back/")

    assert Bill.objects.count() == 2
    assert "takes one back" in read(owner, "/bills/?month=2026-09")


def test_a_bill_for_a_closed_month_says_so(small: World, owner: Client) -> None:
    crop(small)
    close(small)
    form = {**BILL, "uuid": uuid4()}
    page = owner.post("/bills/?month=2026-09", form, follow=True).content.decode()

    assert "It belongs to closed September 2026" in page


def test_supplies_are_received_with_the_tax_in_them(small: World, owner: Client) -> None:
    small.farm.reclaims_purchase_tax = True
    small.farm.save()
    form = {"supply": small.supplies["rye"].pk, "quantity": "5 kg", "paid_money": "12.10",
            "tax": "21 %", "uuid": uuid4(), "when": "2026-09-20T10:00"}  # fmt: skip
    owner.post("/record/receive-supplies/", form)

    assert Lot.objects.get().materials == 10 * UNIT
    shown = read(owner, f"/entries/{Entry.objects.get().seq}/")
    assert "Purchase tax in it" in shown


# --- commands --------------------------------------------------------------------------------


def said(*command: str) -> str:
    out = io.StringIO()
    call_command(*command, stdout=out)
    return out.getvalue()


def test_the_command_closes_and_prints_bills_and_digests(small: World) -> None:
    crop(small)
    printed = said("close_month", "2026-09")
    closed = ClosedMonth.objects.get()

    assert "September 2026 is closed" in printed
    assert "energy: bills" in printed
    assert all(f"{file.sha256}  {file.name}" in printed for file in closed.files.all())
    assert closed.by == small.owner


@pytest.mark.parametrize("month", ["2026-10", "soon"])
def test_the_command_refuses_with_the_remedy(small: World, month: str) -> None:
    crop(small)
    with pytest.raises(CommandError, match=r"Close September 2026 first|is no month"):
        said("close_month", month)


def test_among_several_owners_the_command_is_told_who(small: World) -> None:
    crop(small)
    second: Person = person_in_role(Role.OWNER, "oscar")
    for wrong in ((), ("--by", "hugo")):
        with pytest.raises(CommandError, match="--by NAME"):
            said("close_month", "2026-09", *wrong)
    said("close_month", "2026-09", "--by", "oscar")

    assert ClosedMonth.objects.get().by == second


def test_the_month_command_hands_over_the_frozen_bytes(small: World, tmp_path: Path) -> None:
    lot = blocks(small)
    sold(small, flush(small, lot, 1, 500 * GRAM))
    closed = close(small)
    before = said("month", "2026-09")
    spent(small, lot)
    printed = said("month", "2026-09", "--out", str(tmp_path))

    assert printed.startswith(before)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        file.name: bytes(file.content) for file in closed.files.all()
    }
    assert fresh(lot).quantity == 0


def test_the_audit_says_that_closings_add_up(
    small: World, capsys: pytest.CaptureFixture[str]
) -> None:
    two_sales(small)
    close(small)
    call_command("audit_book")

    assert "holds: closed and open months come to the whole book (1 closed)" in (
        capsys.readouterr().out
    )


def test_signing_in_again_serves_the_same_bytes(small: World, owner_person: Person) -> None:
    crop(small)
    close(small)
    first, second = (
        signed_in(owner_person).get("/month/2026-09/?file=pdf").content for _ in range(2)
    )

    assert first == second


def test_a_month_asks_as_often_after_two_closed_months_as_after_one(
    small: World, owner: Client
) -> None:
    lot = crop(small)
    sold(small, lot, KG)
    close(small)
    go_to(small, OCTOBER)
    sale = sold(small, lot, KG).entry
    correct_quantity(small.doing(), sale, lot=lot, role=LineRole.SOLD, right_quantity=2 * KG)
    before = queries(owner, "/month/2026-10/")
    close(small, OCTOBER)
    go_to(small, NOVEMBER)
    sold(small, lot, KG)

    assert queries(owner, "/month/2026-11/") == before < 20


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        read(client, address)
    return len(asked)
