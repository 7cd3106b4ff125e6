"""Whose report it is, who made it and when: said alike by every report."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from farm.models import Farm
from farm.queries.finding import Amount
from farm.reports.rows import Fact, Kind, Row

NUMBER = "Customer number"  # the head of a column: rows name no customer


@dataclass(frozen=True)
class Made:
    """What heads and foots a report; ``at`` in the farm's own time.

    ``weight_unit``: the one that the farm works in, shown beside the kilogram.
    """

    farm_name: str
    currency: str
    by: str
    at: datetime
    weight_unit: str = "kg"


def made_for(farm: Farm, by: str, at: datetime) -> Made:
    """Records must show the farm's name and place, and who made the report."""
    place = f"{farm.name}, {farm.place}"
    return Made(place, farm.currency, by, at.astimezone(farm.zone), farm.weight_unit)


def cells(amount: Amount) -> Row:
    """Two cells: pieces and weight."""
    return amount.pieces, amount.mass_mg


def amount_fact(label: str, amount: Amount) -> Fact:
    """Say an amount as it is counted: pieces where there are some, else the weight."""
    if amount.pieces is not None:
        return Fact(label, amount.pieces, Kind.COUNT)
    return Fact(label, amount.mass_mg, Kind.MASS)


def added(amounts: Iterable[Amount]) -> Amount:
    """Add amounts of one lot up."""
    parts = list(amounts)
    counted = any(part.pieces is not None for part in parts)
    return Amount(
        sum(part.pieces or 0 for part in parts) if counted else None,
        sum(part.mass_mg or 0 for part in parts),
    )
