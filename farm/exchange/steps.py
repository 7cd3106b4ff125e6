"""The standard's words for what the farm does (CBV 2.0, ISO/IEC 19988:2024).

The standard has no word for harvesting, drying or sterilising: our own word for the deed stands
beside its nearest one in every event (``farm:kind``).
"""

from farm.kinds.kind import Step

RECEIVED = Step("receiving", "in_progress")
RETURNED = Step("receiving", "returned")
SHIPPED = Step("shipping", "in_transit")
RETAILED = Step("retail_selling", "retail_sold")
DESTROYED = Step("destroying", "destroyed")
# Samples, gifts and what the household eats are consumed, and brought no money.
GIVEN = Step("dispensing", "dispensed")
# What nobody can explain was not destroyed, nor was water: a scale or a count set the book right.
MISSED = Step("cycle_counting", "unknown")
HELD = Step("holding", "non_sellable_other")
RELEASED = Step("other")
