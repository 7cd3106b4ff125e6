"""What can happen on the way to customers: sold, delivered, loaded, given away, taken back."""

from dataclasses import dataclass
from typing import Annotated, Any

from farm.kinds.kind import Kind, Step, Usual
from farm.kinds.particulars import Particulars, Said, Seen, Unit
from farm.kinds.store import PACK_AND_SELL
from farm.models.lots import Stage

SELLABLE = (Stage.PACKS, Stage.CROP, Stage.DRIED, Stage.SPENT, Stage.SPAWN)


@dataclass(frozen=True, kw_only=True)
class SaleTerms(Particulars):
    """What was asked of each lot, on which terms."""

    terms: Annotated[dict[str, Any], Said("price of", Unit.TERMS, Seen.SALES)]


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
    particulars=SaleTerms,
    words="Sell",
    done="Sold",
    group=PACK_AND_SELL,
    stages=SELLABLE,
    usual=Usual(10, 0),
)
DELIVER = Kind(
    "deliver",
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
