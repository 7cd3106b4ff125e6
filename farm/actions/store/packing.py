"""Packing: which picked or dried lots go into which packs."""

from collections.abc import Sequence
from datetime import date, timedelta

from farm import habits
from farm.actions.common import (
    Doing,
    Draw,
    both,
    card,
    item_for,
    labour,
    need_stage,
    oldest_first,
    post,
    put,
    used,
)
from farm.actions.doubts import too_old_doubt
from farm.actions.hold_refusals import refuse_held
from farm.actions.idempotency import action
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import PlausibilityQuestion, answered
from farm.actions.store.storing import one_species, origin_of
from farm.kinds.store import PACK, Packing
from farm.models import Form, LotCard, Product, Shelf, Stage, the_farm
from farm.queries.keeping import past_days
from farm.queries.store.check_weights import filling_of
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Role

# Own rule: more than a tenth over the declared weight is worth a question.
MOST_OVER_PERCENT = 10


@action
def pack(
    doing: Doing,
    *,
    product: Product,
    packs: int,
    draws: Sequence[Draw],
    shelf: Shelf | None = None,
) -> Recorded:
    """Fill packs from picked or dried lots; the packaging is drawn by itself, oldest first.

    The lots drawn must weigh at least packs x declared net weight: 40 packs of 250 g need 10 kg.
    What is over was given away and is kept in the particulars; over a tenth, and over what the
    farm is advised to fill, is asked about, and so is food past its days, of which the packs say
    so. ``shelf``: where the packs are put.
    """
    cards = [need_stage(draw.lot, _stage(product)) for draw in draws]
    _need_species(product, cards)
    drawn_mg = sum(draw.quantity for draw in draws)
    over_mg = _over(product, packs, draws)
    refuse_held(doing, [draw.lot for draw in draws], "packed")
    doing = answered(
        doing,
        far_over_doubt(product, packs, draws),
        _too_old(doing, product, cards) or too_old_doubt([draw.lot for draw in draws], doing.day),
        set_aside_doubt(draws),
    )
    lot = NewLot(item_for(product.name, Dimension.COUNT, stage=Stage.PACKS), product.net_mg)
    recorded = post(
        doing,
        PACK,
        [
            *used([*draws, *_packaging(product, packs)]),
            LineDraft(lot, Role.MADE, packs, basis=packs),
        ],
        charges=labour(doing, PACK, packs),
        particulars=Packing(
            net_mg=product.net_mg,
            drawn_mg=drawn_mg,
            over_mg=over_mg,
            past_days=past_days(cards, doing.day),
        ),
    )
    if recorded.fresh:
        _describe(recorded, product, cards)
        put(recorded.entry, recorded.lots[-1], shelf)
    return recorded


def declared_mg(product: Product, packs: int) -> int:
    """Return the milligrams that so many packs declare together."""
    return packs * product.net_mg


def far_over_doubt(
    product: Product, packs: int, draws: Sequence[Draw]
) -> PlausibilityQuestion | None:
    """Ask about more than a tenth over the declared weight, and over the farm's own advice."""
    codes = [draw.lot.code for draw in draws]
    drawn_mg, net_mg = sum(draw.quantity for draw in draws), declared_mg(product, packs)
    fill_mg = filling_of(product, the_farm().weight_unit).fill_mg
    if (drawn_mg - net_mg) * 100 <= net_mg * MOST_OVER_PERCENT or drawn_mg <= packs * fill_mg:
        return None
    return PlausibilityQuestion(
        f"Lot {', '.join(codes)}: {both(drawn_mg)} into {packs} × {product} is more than "
        f"{MOST_OVER_PERCENT} % over the {both(net_mg)} declared. "
        f"Did you mean {drawn_mg // product.net_mg} packs?",
        codes,
    )


def _stage(product: Product) -> Stage:
    return Stage.CROP if product.form == Form.FRESH else Stage.DRIED


def _need_species(product: Product, cards: Sequence[LotCard]) -> None:
    species = one_species(cards)
    if species != product.species:
        codes = [card.lot.code for card in cards]
        raise Malformed(
            f"Lot {', '.join(codes)} is {species}, and {product} holds {product.species}. "
            "Choose another lot or another product.",
            codes,
        )


def _over(product: Product, packs: int, draws: Sequence[Draw]) -> int:
    """Return the milligrams drawn beyond the declared weight; refuses short weight."""
    drawn_mg, net_mg = sum(draw.quantity for draw in draws), declared_mg(product, packs)
    if packs <= 0:
        raise Malformed(f"{product}: {packs} packs cannot be packed. State one or more.")
    if drawn_mg < net_mg:
        codes = [draw.lot.code for draw in draws]
        raise Malformed(
            f"Lot {', '.join(codes)}: {both(drawn_mg)} is short weight for {packs} × "
            f"{product}, which declare {both(net_mg)}. Draw {both(net_mg - drawn_mg)} "
            f"more, or pack {drawn_mg // product.net_mg}.",
            codes,
        )
    return drawn_mg - net_mg


def _packaging(product: Product, packs: int) -> list[Draw]:
    """Draw one piece a pack, oldest first."""
    return oldest_first(product.packaging, packs) if product.packaging else []


def _too_old(
    doing: Doing, product: Product, cards: Sequence[LotCard]
) -> PlausibilityQuestion | None:
    until = _best_before(product, cards)
    if until is None or until >= doing.day:
        return None
    codes = [card.lot.code for card in cards]
    return PlausibilityQuestion(
        f"Lot {', '.join(codes)}: what was picked first keeps {product.keeps_days} "
        f"days, so these packs would be past their best before, {habits.day(until)}. Pack it all "
        "the same?",
        codes,
    )


def _best_before(product: Product, cards: Sequence[LotCard]) -> date | None:
    """Count the fridge days from the oldest pick; what is dried has none."""
    oldest = min((card.harvested_on for card in cards if card.harvested_on), default=None)
    if oldest is None or product.form != Form.FRESH:
        return None
    return oldest + timedelta(days=product.keeps_days)


def _describe(recorded: Recorded, product: Product, cards: Sequence[LotCard]) -> None:
    """Write the packs' card: the oldest pick counts, for the fridge days as well."""
    facts = origin_of(cards)
    best_before = _best_before(product, cards)
    facts |= {"product": product, "gtin": product.gtin, "best_before": best_before}
    card(recorded.lots[-1], Stage.PACKS, **facts)
