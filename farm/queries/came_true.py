"""Saved cards beside what came true: the first batch of the strain started after the card."""

from dataclasses import dataclass

from django.db.models import Sum

from farm.models import LotCard, SavedCard, Stage
from farm.planning.spread import Came, Range
from farm.queries.kilos import kilos_from
from ledger.models import KINDS, Flow, Lot, Role

MG_PER_KG = 1_000_000


@dataclass(frozen=True)
class CardOutcome:
    """A saved card with its batch, if one is finished; costs are of the kilo picked."""

    card: SavedCard
    lot: Lot | None
    came: Came | None


def outcomes() -> list[CardOutcome]:
    """Go through the saved cards, newest first; some queries a card."""
    found = []
    for card in SavedCard.objects.select_related("strain__species"):
        lot = _first_batch(card)
        actual = _picked_cost(lot) if lot else None
        expected = Range(card.picked_low_money, card.picked_median_money, card.picked_high_money)
        found.append(CardOutcome(card, lot, Came(expected, actual) if actual else None))
    return found


def _first_batch(card: SavedCard) -> Lot | None:
    """The first lot started after the card that is finished and was picked."""
    cards = LotCard.objects.filter(
        stage=Stage.BLOCKS,
        strain=card.strain,
        lot__quantity=0,
        lot__made_by__happened_at__gte=card.made_at,
        lot__lines__given_mg__gt=0,
    )
    first = cards.select_related("lot__card").order_by("lot_id").first()
    return first.lot if first else None


def _picked_cost(lot: Lot) -> int | None:
    """Cost of the picks and of blocks lost beyond plan, over kilos picked, rounded half to even.

    The book leaves such blocks out of a kilo; the card expects every loss, so here they count.
    """
    picked = kilos_from(lot).fresh[0]
    if picked.blank:
        return None
    lost = Flow.objects.filter(lot=lot, role=Role.LOST).aggregate(**{k: Sum(k) for k in KINDS})
    cost = sum(picked.cost) - sum(lost[kind] or 0 for kind in KINDS)
    return round(cost * MG_PER_KG / picked.mass_mg)
