"""The standard's words for what the farm does (CBV 2.0, ISO/IEC 19988:2024).

The standard has no word for harvesting, drying or sterilising: our own word for the deed stands
beside its nearest one in every event (``farm:kind``).
"""

from typing import Any, NamedTuple


class Step(NamedTuple):
    """A business step, and the disposition of the goods after it where one is due."""

    biz_step: str
    disposition: str = ""

    def words(self) -> dict[str, Any]:
        words = {"bizStep": self.biz_step}
        return words | ({"disposition": self.disposition} if self.disposition else {})


RECEIVED = Step("receiving", "in_progress")
RETURNED = Step("receiving", "returned")
SHIPPED = Step("shipping", "in_transit")
RETAILED = Step("retail_selling", "retail_sold")
DESTROYED = Step("destroying", "destroyed")
# Samples, gifts and what the household eats are consumed, and brought no money.
GIVEN = Step("dispensing", "dispensed")
# What nobody can explain was not destroyed, nor was water: a scale or a count set the book right.
MISSED = Step("cycle_counting", "unknown")
COUNTED = Step("cycle_counting")
HELD = Step("holding", "non_sellable_other")
RELEASED = Step("other")
UNLOADED = Step("unloading")

_MADE = Step("creating_class_instance", "active")
MADE = {"pack": Step("packing", "in_progress")}

_SEEN = Step("other")
SEEN = {
    "steriliser run": Step("sensor_reporting", "in_progress"),
    "check": Step("inspecting", "in_progress"),
    "move to fruiting": Step("storing", "in_progress"),
    "move": Step("storing"),
    "weigh again": COUNTED,
    "count": COUNTED,
    "load stall": Step("loading", "in_transit"),
    "settle stall": UNLOADED,
}


def made_by(kind: str) -> Step:
    return MADE.get(kind, _MADE)


def seen_by(kind: str) -> Step:
    return SEEN.get(kind, _SEEN)
