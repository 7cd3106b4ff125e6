"""The pages of the three answers: who sees what, what a mistyped code gets, what is taken away."""

import pytest
from django.test import Client

from farm.models import Farm
from tests.farm.season import Season, season


@pytest.fixture
def lots(farm: Farm) -> Season:
    return season()


def read(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


def test_the_owner_sees_what_a_block_and_a_kilo_cost(owner: Client, lots: Season) -> None:
    page = read(owner, f"/cost/{lots.grown.blocks.code}/")

    assert "Per good block" in page
    assert "sold at Saturday market (after selling costs)" in page
    assert "<svg" in page


def test_every_lot_has_its_answers(owner: Client, lots: Season) -> None:
    grown = (*lots.grown, lots.firsts, lots.seconds, lots.trim, lots.packs, lots.dried)

    for lot in grown:
        read(owner, f"/cost/{lot.code}/")
        read(owner, f"/trace/{lot.code}/")


def test_a_helper_sees_no_costs(helper: Client, lots: Season) -> None:
    addresses = ["/cost/", f"/cost/{lots.packs.code}/", "/month/", "/month/2026-10/"]

    assert [helper.get(address).status_code for address in addresses] == [403] * 4


def test_a_helper_sees_a_trace_with_numbers_for_names(helper: Client, lots: Season) -> None:
    page = read(helper, f"/trace/{lots.packs.code}/")

    assert lots.world.customer.number in page
    assert "The Anchor" not in page
    assert "EUR" not in page
    assert "/cost/" not in page


def test_a_helper_takes_no_names_away(helper: Client, lots: Season) -> None:
    book = helper.get(f"/trace/{lots.packs.code}/?file=xlsx")
    seen = read(helper, f"/trace/{lots.packs.code}/")

    assert book.status_code == 200
    assert "?file=pdf" in seen


def test_names_are_for_the_owner_and_money_for_the_bookkeeper(
    owner: Client, reader: Client, lots: Season
) -> None:
    assert "The Anchor" in read(owner, f"/trace/{lots.packs.code}/")
    assert "EUR" in read(reader, "/month/2026-10/")


def test_a_trace_leads_from_lot_to_lot(owner: Client, lots: Season) -> None:
    page = read(owner, f"/trace/{lots.packs.code}/")

    assert f'href="/trace/{lots.grown.spawn.code}/"' in page


@pytest.mark.parametrize(
    ("file", "starts", "named"),
    [("pdf", b"%PDF", "application/pdf"), ("xlsx", b"PK", "spreadsheetml")],
)
@pytest.mark.parametrize("address", ["/cost/{}/?", "/trace/{}/?", "/month/2026-10/?"])
def test_each_answer_is_taken_away(
    owner: Client, lots: Season, *, address: str, file: str, starts: bytes, named: str
) -> None:
    response = owner.get(address.format(lots.packs.code) + f"file={file}")

    assert response.content.startswith(starts)
    assert named in response["Content-Type"]
    assert response["Content-Disposition"].endswith(f'.{file}"')


def test_a_code_leads_to_its_answer(owner: Client, lots: Season) -> None:
    code = lots.packs.code

    assert owner.get("/cost/", {"code": code.lower()})["Location"] == f"/cost/{code}/"
    assert owner.get("/trace/", {"code": code})["Location"] == f"/trace/{code}/"


def test_a_code_with_one_wrong_sign_is_answered_with_the_right_one(
    owner: Client, lots: Season
) -> None:
    code = lots.packs.code
    wrong = ("2" if code[0] != "2" else "3") + code[1:]
    page = read(owner, f"/trace/?code={wrong}")

    assert "No lot has the code" in page
    assert f'href="/trace/{code}/"' in page
    assert f'value="{wrong}"' in page


def test_an_unknown_lot_is_not_there(owner: Client, lots: Season) -> None:
    assert owner.get("/cost/QQQQQ/").status_code == 404
    assert owner.get("/trace/QQQQQ/").status_code == 404


def test_a_month_is_asked_for_and_shown(owner: Client, lots: Season) -> None:
    assert "October 2026" in read(owner, "/month/")
    assert owner.get("/month/", {"month": "2026-10"})["Location"] == "/month/2026-10/"
    assert "such as 2026-10" in read(owner, "/month/?month=soon")
    assert owner.get("/month/2026-13/").status_code == 404


def test_the_asking_pages_work_on_an_empty_farm(owner: Client) -> None:
    assert "Nothing is recorded yet" in read(owner, "/month/")
    assert "Code of the lot, or a month" in read(owner, "/cost/")
    assert "Code of a lot, or of several" in read(owner, "/trace/")


def test_a_stranger_is_sent_to_sign_in(stranger: Client) -> None:
    assert [stranger.get(f"/{name}/").status_code for name in ("cost", "trace", "month")] == [
        302
    ] * 3
