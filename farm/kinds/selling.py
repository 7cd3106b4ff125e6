"""What can happen on the way to customers: sold, delivered, loaded, given away, taken back."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any

from farm.kinds.kind import Kind, Step, Usual
from farm.kinds.particulars import Particulars, Said, Seen, Unit, filled
from farm.kinds.store import PACK_AND_SELL
from farm.models.lots import Stage
from ledger.models import Role

SELLABLE = (Stage.PACKS, Stage.CROP, Stage.DRIED, Stage.SPENT, Stage.SPAWN)


@dataclass(frozen=True)
class LineTerms:
    """What was asked: ``unit_money`` a ``unit`` (pack, kg, lb); tax within it or on top of it.

    ``discount_ppm``: what was let off, of the price of the whole line. ``whole_of``: unit_money is
    asked for so much of the lot altogether, as for what is in a box.
    """

    unit_money: int
    unit: str
    tax_ppm: int
    tax_included: bool
    discount_ppm: int = 0
    whole_of: int = 0


@dataclass(frozen=True, kw_only=True)
class SaleTerms(Particulars):
    """What was asked of each lot, on which terms."""

    terms: Annotated[Mapping[str, LineTerms], Said("price of", Unit.TERMS, Seen.SALES)]

    @classmethod
    def shaped(cls, said: dict[str, Any]) -> dict[str, Any]:
        terms: dict[str, Any] = said.get("terms", {})
        return said | {"terms": {lot: filled(LineTerms, one) for lot, one in terms.items()}}

    def written(self) -> dict[str, Any]:
        return super().written() | {"terms": {lot: asdict(one) for lot, one in self.terms.items()}}


@dataclass(frozen=True, kw_only=True)
class Settling(SaleTerms):
    """Of a market day: the lots that were counted together, why something was sold for less."""

    counted_together: Annotated[list[str] | None, Said("counted together", Unit.LOTS, Seen.ALL)] = (
        None
    )
    discount: Annotated[str, Said("sold for less", seen=Seen.ALL)] = ""


@dataclass(frozen=True, kw_only=True)
class Load(Particulars):
    """Where it goes, when, and how much of each lot."""

    place: Annotated[int, Said(unit=Unit.PLACE, seen=Seen.ALL)]
    day: Annotated[str, Said(unit=Unit.DAY, seen=Seen.ALL)]
    loaded: Annotated[dict[str, int], Said(unit=Unit.BY_LOT, elsewhere=True)]


SELL = Kind(
    "sell",
    corrects=(Role.SOLD,),
    particulars=SaleTerms,
    words="Sell",
    done="Sold",
    group=PACK_AND_SELL,
    stages=SELLABLE,
    usual=Usual(10, 0),
)
DELIVER = Kind(
    "deliver",
    corrects=(Role.SOLD,),
    particulars=SaleTerms,
    words="Deliver an order",
    done="Delivered",
    group=PACK_AND_SELL,
    entered_as=SELL,
    usual=SELL.usual,
)
LOAD_STALL = Kind(
    "load stall",
    particulars=Load,
    words="Load for a stall",
    done="Loaded",
    called="load for a stall",
    group=PACK_AND_SELL,
    stages=SELLABLE,
    then="settle it when the van is back",
    usual=Usual(30, 0),
    seen=Step("loading", "in_transit"),
)
SETTLE_STALL = Kind(
    "settle stall",
    corrects=(Role.SOLD,),
    particulars=Settling,
    words="Back from the market",
    done="Settled",
    called="back from the market",
    named="not sold",
    group=PACK_AND_SELL,
    usual=Usual(420, 0),
    seen=Step("unloading"),
)
GIVE_AWAY = Kind(
    "give away",
    corrects=(Role.LOST,),
    words="Give away",
    done="Given away",
    group=PACK_AND_SELL,
    stages=SELLABLE,
    caused=True,
)
TAKE_BACK = Kind(
    "take back",
    words="Take back unsold",
    done="Taken back",
    called="take back unsold",
    group=PACK_AND_SELL,
    caused=True,
    usual=Usual(3, 0),
)

KINDS = (SELL, DELIVER, LOAD_STALL, SETTLE_STALL, GIVE_AWAY, TAKE_BACK)
