"""Save a cost card, so that it can be compared with what came true. No entry: nothing happened."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from farm.models import Person, SavedCard, Strain
from farm.planning.work import Worked
from ledger.errors import Malformed

MOST_MONEY = 2**63 - 1  # what a column of money holds


@dataclass(frozen=True)
class Stated:
    """Enough to work a card out again: its numbers, its words, what was typed."""

    values: dict[str, int]
    sources: dict[str, str]
    ingredients: list[list[Any]]
    records: dict[str, Any]
    names: dict[str, str]
    query: str
    asked_money: int | None


@transaction.atomic
def save_card(
    name: str, worked: Worked, stated: Stated, *, strain: Strain, by: Person, at: datetime
) -> SavedCard:
    """Save a card under its name as the next version; versions are never changed."""
    if not name.strip():
        raise Malformed("A saved card needs a name. Type one, such as Oyster in spring.")
    last = SavedCard.objects.filter(name=name.strip()).aggregate(last=Max("version"))["last"]
    found, placed = worked.outlook.ranges["picked"], round(worked.card.chain.placed)
    if max(placed, *(cost or 0 for cost in (found.low, found.median, found.high))) > MOST_MONEY:
        raise Malformed(
            "A kilo of this card costs more than can be kept. Look through its numbers for one "
            "that is far too large or too small, and save it again."
        )
    return SavedCard.objects.create(
        name=name.strip(),
        version=(last or 0) + 1,
        made_at=at,
        by=by,
        strain=strain,
        stated=json.dumps(stated.__dict__, sort_keys=True),
        placed_money=placed,
        picked_low_money=found.low,
        picked_median_money=found.median,
        picked_high_money=found.high,
    )
