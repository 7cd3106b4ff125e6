"""What can happen on the way to customers: sold, delivered, loaded, given away, taken back."""

from farm.kinds.kind import Kind, Step, Usual
from farm.kinds.store import PACK_AND_SELL
from farm.models.lots import Stage

SELLABLE = (Stage.PACKS, Stage.CROP, Stage.DRIED, Stage.SPENT, Stage.SPAWN)

SELL = Kind(
    "sell", words="Sell", done="Sold", group=PACK_AND_SELL, stages=SELLABLE, usual=Usual(10, 0)
)
DELIVER = Kind(
    "deliver", words="Deliver an order", done="Delivered", group=PACK_AND_SELL, entered_as=SELL,
    usual=SELL.usual,
)  # fmt: skip
LOAD_STALL = Kind(
    "load stall", words="Load for a stall", done="Loaded", called="load for a stall",
    group=PACK_AND_SELL, stages=SELLABLE, then="settle it when the van is back",
    usual=Usual(30, 0), seen=Step("loading", "in_transit"),
)  # fmt: skip
SETTLE_STALL = Kind(
    "settle stall", words="Back from the market", done="Settled", called="back from the market",
    named="not sold", group=PACK_AND_SELL, usual=Usual(420, 0), seen=Step("unloading"),
)  # fmt: skip
GIVE_AWAY = Kind(
    "give away", words="Give away", done="Given away", group=PACK_AND_SELL, stages=SELLABLE,
    caused=True,
)  # fmt: skip
TAKE_BACK = Kind(
    "take back", words="Take back unsold", done="Taken back", called="take back unsold",
    group=PACK_AND_SELL, caused=True, usual=Usual(3, 0),
)  # fmt: skip

KINDS = (SELL, DELIVER, LOAD_STALL, SETTLE_STALL, GIVE_AWAY, TAKE_BACK)
