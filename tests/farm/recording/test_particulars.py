"""What an entry says beside its lines: written as ever, read in its shape, shown as it says."""

import json
from dataclasses import dataclass
from typing import Annotated

import pytest

from farm.actions.common import post
from farm.kinds import BY_NAME, KINDS
from farm.kinds.growing import PICK, Checked, Delivery, Picked, Run
from farm.kinds.kind import Kind
from farm.kinds.particulars import Particulars, Said, Seen, Unit
from farm.kinds.selling import LineTerms, SaleTerms, Settling
from farm.kinds.store import Drying, OfOldLots
from ledger.drafts import LineDraft
from ledger.models import Entry, Role
from tests.conftest import signed_in
from tests.farm.goods import crop
from tests.farm.world import World

# In what a field is stated shows in how its name ends, longest ending first.
ENDINGS = {
    "fresh_per_dried_ppm": Unit.TO_ONE, "_mg": Unit.MG, "_mg_per_block": Unit.MG, "_ppm": Unit.PPM,
    "_money": Unit.MONEY, "_pa": Unit.PA, "_milli_c": Unit.MILLI_C, "_percent": Unit.PERCENT,
    "_mm": Unit.MM,
}  # fmt: skip
SHAPES = sorted({kind.particulars for kind in KINDS}, key=lambda shape: shape.__name__)
IN_MONEY = ("asked_of_money",)  # a question, in words


def test_what_is_not_said_is_not_written() -> None:
    assert Particulars().written() == {}
    assert Particulars(minutes_stated=0, asked="Sure?").written() == {
        "minutes_stated": 0,
        "asked": "Sure?",
    }


def test_a_gauge_that_nobody_read_is_written_as_unread() -> None:
    said = Run(
        steriliser="Big", gauge_pa=None, temperature_milli_c=121_000, minutes_at_temperature=90
    )

    assert said.written() == {
        "steriliser": "Big",
        "gauge_pa": None,
        "temperature_milli_c": 121_000,
        "minutes_at_temperature": 90,
    }


def test_a_tax_that_was_not_reclaimed_is_written_as_such() -> None:
    said = Delivery(paid_money=121, purchase_tax_money=21, purchase_tax_reclaimed=False)

    assert said.written()["purchase_tax_reclaimed"] is False


def test_what_was_written_is_read() -> None:
    asked = LineTerms(45_000, "pack", 90_000, tax_included=True)
    said = Settling(terms={"K7M4Q": asked}, discount="rain", minutes_stated=30)

    assert Settling.read(json.dumps(said.written())) == said


def test_an_older_shape_is_read_with_what_it_has() -> None:
    older = Checked.read('{"lost":2,"seen_by":"Ana","form":"ab"}')

    assert (older.lost, older.form) == (2, "ab") and not older.checked
    sold = SaleTerms.read('{"terms":{"K7M4Q":{"unit_money":45000,"unit":"kg","round":1}}}')
    assert (sold.terms["K7M4Q"].unit_money, sold.terms["K7M4Q"].discount_ppm) == (45_000, 0)
    assert not SaleTerms.read("{}").terms
    assert OfOldLots.read("{}").past_days is None
    assert Drying.read('{"trays":4}').trays == 4


@pytest.mark.parametrize("shape", SHAPES)
def test_a_field_states_its_unit_as_its_name_does(shape: type[Particulars]) -> None:
    for name, said in shape.told().items():
        ends = [end for end in ENDINGS if name.endswith(end) and name not in IN_MONEY]
        if ends:
            assert said.unit == ENDINGS[max(ends, key=len)], name


@dataclass(frozen=True, kw_only=True)
class Whispered(Particulars):
    told_to_nobody: Annotated[int, Said("a number")]
    told_to_all: Annotated[int, Said("another number", Unit.NUMBER, Seen.ALL)]


def test_a_field_that_states_nobody_is_shown_to_owners_alone(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind = Kind("whisper", particulars=Whispered)
    said = Whispered(told_to_nobody=4_711, told_to_all=1_234)
    line = LineDraft(crop(world), Role.COUNTED, 0)
    entry = post(world.doing(), kind, [line], particulars=said).entry
    monkeypatch.setitem(BY_NAME, "whisper", kind)
    clients = (signed_in(world.owner), signed_in(world.helper))
    pages = [client.get(f"/entries/{entry.seq}/").content.decode() for client in clients]

    assert [("4711" in page, "1234" in page) for page in pages] == [(True, True), (False, True)]


def test_no_money_and_no_recipe_is_shown_to_everybody() -> None:
    told = {name: said for shape in SHAPES for name, said in shape.told().items()}
    hidden = [
        name
        for name, said in told.items()
        if said.seen == Seen.ALL and (said.unit == Unit.MONEY or "recipe" in name)
    ]

    assert hidden == []


def test_what_is_posted_has_the_shape_of_its_kind(world: World) -> None:
    with pytest.raises(TypeError, match="pick"):
        post(world.doing(), PICK, [], particulars=Delivery())
    assert not Entry.objects.filter(kind=PICK).exists()
    assert PICK.particulars is Picked
