"""Saved cards beside what came true: the first batch of the strain started after the card."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Exists, OuterRef, Q

from farm.models import LotCard, SavedCard, Stage
from farm.planning.outlook import Came, Range
from farm.queries.costs.kilos import shares_of
from ledger.models import Edge, Flow, Lot, Role
from ledger.tracing import ahead

MG_PER_KG = 1_000_000


@dataclass(frozen=True)
class CardOutcome:
    """A saved card with its batch, if one is finished; costs are of the kilo picked."""

    card: SavedCard
    lot: Lot | None
    came: Came | None


def outcomes() -> list[CardOutcome]:
    """Go through the saved cards, newest first; seven queries however many."""
    cards = list(SavedCard.objects.select_related("strain__species"))
    batches = _finished(cards)
    lots = [_first_after(card, batches) for card in cards]
    costs = _picked_costs({lot.pk for lot in lots if lot})
    found = []
    for card, lot in zip(cards, lots, strict=True):
        actual = costs.get(lot.pk) if lot else None
        expected = Range(card.picked_low_money, card.picked_median_money, card.picked_high_money)
        found.append(CardOutcome(card, lot, Came(expected, actual) if lot else None))
    return found


def _finished(cards: Sequence[SavedCard]) -> list[Lot]:
    """Lots of the cards' strains that are finished, oldest first; one query.

    They were picked, or lost whole; what stayed behind of a lot, or was split off one, and was
    lost then is no batch of its own.
    """
    strains = {card.strain_id for card in cards}
    parted = Edge.objects.filter(Q(src=OuterRef("pk")) | Q(dst=OuterRef("pk")))
    parted = parted.filter(src__card__stage=Stage.BLOCKS, dst__card__stage=Stage.BLOCKS)
    is_lost = Q(flows__role=Role.LOST, flows__quantity__lt=0) & ~Exists(parted)
    found = Lot.objects.filter(
        Q(lines__given_mg__gt=0) | is_lost,
        card__stage=Stage.BLOCKS,
        card__strain__in=strains,
        quantity=0,
    )
    return list(found.select_related("card", "made_by").order_by("pk").distinct())


def _first_after(card: SavedCard, batches: Iterable[Lot]) -> Lot | None:
    later = (
        lot
        for lot in batches
        if lot.card.strain_id == card.strain_id and lot.made_by.happened_at >= card.made_at
    )
    return next(later, None)


def _picked_costs(lots: set[int]) -> dict[int, int]:
    """Cost of the picks and of blocks lost beyond plan, over kilos picked, rounded half to even.

    The book leaves such blocks out of a kilo; the card expects every loss, so here they count.
    By lot; one that gave nothing has none. Five queries.
    """
    kin = ahead(lots)
    near = {edge.src for edge in kin.edges} | set(kin.born_at)
    cards = LotCard.objects.in_bulk(near)
    crop = [pk for pk, card in cards.items() if card.stage == Stage.CROP]
    made = list(Flow.objects.filter(lot__in=crop, role=Role.MADE))
    lost = dict.fromkeys(lots, 0)
    for flow in Flow.objects.filter(lot__in=lots, role=Role.LOST):
        lost[flow.lot_id] -= sum(flow.cost)
    found = {}
    for lot in lots:
        shares = shares_of({lot}, kin, cards)
        parts = [(shares.get(flow.lot_id, Fraction(0)), flow) for flow in made]
        mass_mg = sum(share * flow.quantity for share, flow in parts)
        cost = sum(share * sum(flow.cost) for share, flow in parts) + lost[lot]
        if mass_mg:
            found[lot] = round(cost * MG_PER_KG / mass_mg)
    return found
