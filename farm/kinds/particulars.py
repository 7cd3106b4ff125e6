"""What an entry says beside its lines: each field with its words, its unit and who may see it."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, Self, TypeVar, get_type_hints

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Shape = TypeVar("Shape", bound="DataclassInstance")


class Seen(Enum):
    """Who is shown a field, beside the owners, who see all."""

    OWNERS = "owners alone"
    ALL = "whoever sees the entry"
    SALES = "whoever sees sales and prices"
    RECIPES = "whoever sees recipes"
    COSTS = "whoever sees costs"


class Unit(Enum):
    """In what a field is stated."""

    TEXT = ""
    NUMBER = "a plain number"
    YES_NO = "yes or no"
    MINUTES = "minutes"
    PERCENT = "per cent"
    MG = "milligrams"
    MM = "millimetres"
    PPM = "parts in a million"
    TO_ONE = "millionths of the part to one"
    MONEY = "1/10,000 of the currency's unit"
    PA = "pascals"
    MILLI_C = "thousandths of a degree Celsius"
    LOTS = "codes of lots"
    BY_LOT = "by the code of a lot"
    TERMS = "what was asked, by the code of a lot"
    PLACE = "a selling place"
    DAY = "a day"
    PERSON = "a person"


class Said(NamedTuple):
    """``words``: what a page calls it, where that is not plain from its name.

    ``elsewhere``: the page says it in another place. ``binder``: what stands before it in the
    binder of records, which leaves out a field that says nothing here. A field that states nobody
    is the owners'.
    """

    words: str = ""
    unit: Unit = Unit.TEXT
    seen: Seen = Seen.OWNERS
    elsewhere: bool = False
    binder: str | None = None


@dataclass(frozen=True, kw_only=True)
class Particulars:
    """What any entry may say: the digest of its form, under whose sign-in, what was asked.

    A field with a default is written only where it says something else; the others always are.
    """

    form: Annotated[str, Said(elsewhere=True)] = ""
    typed_by: Annotated[int | None, Said(unit=Unit.PERSON, elsewhere=True)] = None
    minutes_stated: Annotated[int | None, Said("time stated", Unit.MINUTES, Seen.COSTS)] = None
    asked: Annotated[str, Said("asked", seen=Seen.ALL)] = ""
    asked_of_money: Annotated[str, Said("asked of the price", seen=Seen.SALES)] = ""
    answer: Annotated[str, Said("answer", seen=Seen.ALL)] = ""

    @classmethod
    def read(cls, text: str) -> Self:
        """Read it as it was written; what an older shape lacks is blank, or None."""
        return filled(cls, cls.shaped(json.loads(text)))

    @classmethod
    def shaped(cls, said: dict[str, Any]) -> dict[str, Any]:
        """Make dataclasses of what the book keeps as plain data within a field."""
        return said

    def written(self) -> dict[str, Any]:
        """Say it as the book keeps it."""
        said = {one.name: getattr(self, one.name) for one in fields(self)}
        blank = {one.name: _blank(one) for one in fields(self) if not _is_needed(one)}
        return {
            name: value for name, value in said.items() if name not in blank or value != blank[name]
        }

    @classmethod
    @cache
    def told(cls) -> Mapping[str, Said]:
        """Each field with what is said of it: a kind's own first, then what any entry may say."""
        hints = get_type_hints(cls, include_extras=True)
        own = sorted(fields(cls), key=lambda one: one.name in Particulars.__dataclass_fields__)
        return {one.name: hints[one.name].__metadata__[0] for one in own}

    def stated(self) -> Iterator[tuple[str, Said, Any]]:
        """Each field that says something: its name, what is said of it, and its value."""
        for name, said in self.told().items():
            value = getattr(self, name)
            if value not in (None, "", [], {}):
                yield name, said, value


def filled(shape: type[Shape], said: Mapping[str, Any]) -> Shape:
    """Make a dataclass of what was written; what an older shape lacks is blank, or None."""
    return shape(**{one.name: said.get(one.name, _blank(one)) for one in fields(shape)})


def _is_needed(one: "Field[Any]") -> bool:
    return one.default is MISSING and one.default_factory is MISSING


def _blank(one: "Field[Any]") -> object:
    if one.default_factory is not MISSING:
        return one.default_factory()
    return None if one.default is MISSING else one.default
