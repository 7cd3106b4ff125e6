"""Save a cost card, so that it can be compared with what came true. No entry: nothing happened."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from farm.models import ByProductWay, Person, SavedCard, Strain
from farm.planning.card import Ingredient, Place
from farm.planning.grown import Records
from farm.planning.inputs import Names, centres, plan_from
from farm.planning.work import Worked, work_out
from farm.queries.costs.card_choice import Choice
from farm.queries.costs.card_inputs import CardInputs
from farm.queries.costs.card_selling import way_of_counting
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


def stated_of(
    choice: Choice,
    found: CardInputs,
    *,
    usual: ByProductWay,
    typed: Mapping[str, int] | None = None,
) -> Stated:
    """State a card of what is known, and of what is ``typed`` instead, by its key.

    ``usual``: how the farm counts what is sold beside. The price of an
    ingredient is typed as ``price_`` and its place in the list.
    """
    typed = typed or {}
    numbers = {key: value for key, value in typed.items() if not key.startswith("price_")}
    known = {key: one.value for key, one in found.values.items()}
    sources = {key: one.source for key, one in found.values.items()}
    if "blocks" in typed:
        known["load_blocks"] = typed["blocks"]
        sources["load_blocks"] = "as many as in the batch"
    values = known | numbers
    sold_beside = values["trim_kg_money"] or values["spent_money"]
    way = way_of_counting(choice, usual) if sold_beside else None
    values["taken_off"] = way.value if way else 0
    sources["taken_off"] = way.source if way else "nothing is sold beside"
    was = centres({key: one.value for key, one in found.values.items()})
    return Stated(
        values=values,
        sources={**sources, **dict.fromkeys(typed, "typed for this card")},
        ingredients=[
            [part.name, part.quantity, typed.get(f"price_{at}", part.price_money), part.is_weighed]
            for at, part in enumerate(found.ingredients)
        ],
        records=found.records.moved(was, centres(values)).as_json(),
        names=asdict(choice.names),
        query="",
        asked_money=typed.get("asked_money", found.asked_money),
    )


def worked_out(stated: Stated, others: Sequence[tuple[Place, int | None]] = ()) -> Worked:
    """Work a stated card out; ``others``: what to ask at the other selling places beside it."""
    parts = tuple(Ingredient(*part) for part in stated.ingredients)
    plan = plan_from(stated.values, parts, Names(**stated.names))
    records = Records.read(stated.records)
    return work_out(plan, records, others, asked_money=stated.asked_money)


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
