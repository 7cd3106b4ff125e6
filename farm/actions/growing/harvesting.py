"""Pick a flush from block lots, keep what is spent of them, and say when a lot is spent."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from django.db.models import Sum

from farm.actions.common import (
    Doing,
    Draw,
    both,
    card,
    item_for,
    labour,
    last_day,
    need_some,
    post,
    put,
)
from farm.actions.growing.blocks import need_blocks, room_since
from farm.actions.growing.pick_doubts import Picked, pick_doubts
from farm.actions.idempotency import action
from farm.actions.questions import PlausibilityQuestion, answered
from farm.kinds import growing
from farm.kinds.growing import (
    INOCULATE_BLOCKS,
    KEEP_SPENT_BLOCKS,
    MOVE_TO_FRUITING,
    PICK,
    SPENT,
    KeptSpent,
)
from farm.models import ByProductWay, Grade, LotCard, Shelf, Species, Stage
from farm.queries.growing.by_products import by_product_way
from farm.refusals import MendedByRecording
from ledger.amounts import largest_remainder, split
from ledger.book import Recorded
from ledger.drafts import ChargeDraft, LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Line, Lot, Role

MG_PER_KG = 1_000_000


class Valued(NamedTuple):
    """A weight of one grade, and what a kilo of it is worth, as the farm states it."""

    mass_mg: int
    kg_money: int


@action
def pick(
    doing: Doing,
    *,
    given: Sequence[Draw],
    flush: int,
    firsts_mg: int,
    seconds_mg: int = 0,
    trim_mg: int = 0,
    shelf: Shelf | None = None,
) -> Recorded:
    """Pick one flush from block lots into up to three lots: firsts, seconds, trim.

    ``given``: each block lot with the mg it gave; where 0, the rest is shared by blocks on hand.
    The blocks stay; each lot gives cost by weight against the weight still expected of it: of
    this flush, which may be picked over days, and of later ones. What is planned is kept on the
    line. Firsts and seconds share the cost by mass; trim takes none unless it is alone.
    What is doubtful is asked, unless ``doing.sure``; more than the blocks weigh needs a note.
    5.62 kg unweighed from 30 and 10 blocks: 4.215 kg and 1.405 kg.
    """
    grades = {Grade.FIRSTS: firsts_mg, Grade.SECONDS: seconds_mg, Grade.TRIM: trim_mg}
    alone = not firsts_mg and not seconds_mg
    shares = {
        grade: Share(mg, mg if grade != Grade.TRIM or alone else 0) for grade, mg in grades.items()
    }
    return _pick(doing, given, flush, shares=shares, shelf=shelf)


@action
def pick_by_value(
    doing: Doing,
    *,
    given: Sequence[Draw],
    flush: int,
    grades: Mapping[Grade, Valued],
    shelf: Shelf | None = None,
) -> Recorded:
    """Pick as `pick` does; the grades share the cost by what they are worth together.

    1 kg of firsts at 20.00 and 1 kg of seconds at 5.00 take four fifths and one fifth. Where the
    farm takes by-products off, trim takes what it is worth first, and no more than the pick
    holds; alone it takes that out of the blocks, and the work of picking it falls on them.
    """
    if by_product_way(doing.day) == ByProductWay.TAKEN_OFF:
        shares = _trim_taken_off(grades)
    else:
        shares = {
            grade: Share(one.mass_mg, one.mass_mg * one.kg_money) for grade, one in grades.items()
        }
    if min((one.kg_money for one in grades.values()), default=0) < 0 or not any(
        share.basis for share in shares.values()
    ):
        raise Malformed(
            "The grades are worth nothing together, so they cannot share the cost. State what a "
            "kilo of one of them is worth, or leave all blank to share by weight."
        )
    return _pick(doing, given, flush, shares=shares, shelf=shelf)


@action
def mark_spent(doing: Doing, *, lot: Lot) -> Recorded:
    """Bin a lot's last blocks; its picks then share all its cost by weight, for good.

    The room since the last pick was held for them, so it is charged to the lot before it closes.
    Blocks that were never picked take their whole cost out as a loss.
    """
    found = need_blocks(lot)
    blocks = found.lot
    line = LineDraft(blocks, Role.LOST, -blocks.quantity, closes=1)
    usual = "spent" if last_day(blocks, [PICK]) else "spent without a pick"
    said = replace(doing, reason=doing.reason or usual)
    return post(said, SPENT, [line], charges=_room(doing, [found]))


@action
def keep_spent(
    doing: Doing, *, lot: Lot, worth_money: int, crop_kg_money: int = 0, kept_mg: int = 0
) -> Recorded:
    """Keep spent blocks to sell, before they are marked spent: one more lot made of the blocks.

    It shares all the lot's cost with the picks by worth: as the crop that is worth as much would.
    With 12 kg picked, worth 10.00 a kilo, and spent blocks worth 6.00: 0.6 of 12.6 kg. Where the
    farm takes by-products off, they take the 6.00 out of the blocks, and no more than these hold,
    whatever a kilo of the crop is worth; a trace then credits them by their weight.
    The blocks stay until they are marked spent, which charges their room. ``kept_mg`` 0: the
    weight of the blocks on hand as filled, less what was picked.
    """
    blocks = need_blocks(lot)
    last = _last_pick(blocks.lot)
    taken_off = by_product_way(doing.day) == ByProductWay.TAKEN_OFF
    like_mg = worth_as_much(worth_money, MG_PER_KG if taken_off else crop_kg_money)
    doing = answered(doing, kept_doubt(blocks.lot, kept_mg))
    kept_mg = kept_mg or _weight_left(blocks.lot)
    need_some(kept_mg, "mg of spent blocks")
    on_hand = blocks.lot.quantity  # planned as at the last pick, in parts of the blocks then
    turn_mg, later_mg = (mg * on_hand // last.pieces for mg in (last.turn_mg, last.later_mg))
    lines = [
        LineDraft(
            blocks.lot,
            Role.USED,
            0,
            worth=worth_money if taken_off else 0,
            basis=kept_mg if taken_off else like_mg,
            turn=last.turn,
            pieces=on_hand,
            turn_mg=turn_mg,
            later_mg=later_mg,
        ),
        LineDraft(
            NewLot(item_for("Spent blocks", stage=Stage.SPENT)), Role.MADE, kept_mg, basis=kept_mg
        ),
    ]
    said = KeptSpent(worth_money=worth_money, crop_kg_money=crop_kg_money)
    recorded = post(doing, KEEP_SPENT_BLOCKS, lines, particulars=said)
    if recorded.fresh:
        card(recorded.lots[-1], Stage.SPENT, species=blocks.species, strain=blocks.strain)
    return recorded


def kept_doubt(lot: Lot, kept_mg: int) -> PlausibilityQuestion | None:
    """Ask about spent blocks that weigh more than the blocks as filled, less what was picked."""
    left_mg = _weight_left(lot)
    if kept_mg <= left_mg:
        return None
    return PlausibilityQuestion(
        f"{both(kept_mg)} of spent blocks from lot {lot.code}, where the blocks as filled, "
        f"less what was picked, weigh {both(left_mg)}? Was it weighed in the other unit?",
        [lot.code],
    )


def worth_as_much(worth_money: int, kg_money: int) -> int:
    """Work out how many mg at so much a kilo are worth as much, half up: 6.00 at 10.00, 0.6 kg."""
    like_mg = (2 * worth_money * MG_PER_KG + kg_money) // (2 * kg_money) if kg_money > 0 else 0
    if like_mg <= 0:
        raise Malformed(
            "Cost cannot be shared by a worth of nothing. State what it is worth together, and "
            "what a kilo of the crop is worth, both above zero."
        )
    return like_mg


# --- what came from where, into what ---------------------------------------------------------


class Share(NamedTuple):
    """The weight of one grade, and its part of the cost by any measure they share.

    ``worth``: what it takes off before the others share.
    """

    mass_mg: int
    basis: int
    worth: int = 0


def _trim_taken_off(grades: Mapping[Grade, Valued]) -> dict[Grade, Share]:
    """Let trim take its worth, half up; the crop shares the rest by worth where it states one."""
    crop = {grade: one for grade, one in grades.items() if grade != Grade.TRIM}
    by_worth = any(one.kg_money for one in crop.values())
    shares = {
        grade: Share(one.mass_mg, one.mass_mg * (one.kg_money if by_worth else 1))
        for grade, one in crop.items()
    }
    trim = grades.get(Grade.TRIM, Valued(0, 0))
    alone = not any(one.mass_mg for one in crop.values())
    worth = (2 * trim.mass_mg * trim.kg_money + MG_PER_KG) // (2 * MG_PER_KG)
    return shares | {Grade.TRIM: Share(trim.mass_mg, worth if alone else 0, worth)}


def _pick(
    doing: Doing,
    given: Sequence[Draw],
    flush: int,
    *,
    shares: Mapping[Grade, Share],
    shelf: Shelf | None,
) -> Recorded:
    need_some(flush, "as the flush")
    cards = [need_blocks(draw.lot) for draw in given]
    total_mg = sum(share.mass_mg for share in shares.values())
    need_some(total_mg, "mg picked")
    species = _one_species(cards)
    doing = answered(doing, *pick_doubts(Picked(doing, species, cards, flush, total_mg)))
    weights = _weights(cards, [draw.quantity for draw in given], total_mg)
    taken = _from_blocks(cards, weights, flush)
    work = labour(doing, PICK, -(-total_mg // MG_PER_KG))
    trim = shares.get(Grade.TRIM)
    if trim and trim.worth and trim.basis:  # picked alone: a by-product of the blocks themselves
        worths = split(trim.worth, weights)
        taken = [replace(line, worth=worth) for line, worth in zip(taken, worths, strict=True)]
        work = _falling_on(work, [blocks.lot for blocks in cards], weights)
    recorded = post(
        doing,
        PICK,
        [*taken, *_into_lots(species, shares)],
        charges=[*work, *_room(doing, cards)],
        particulars=growing.Picked(flush=flush),
    )
    if recorded.fresh:
        picked = [grade for grade, share in shares.items() if share.mass_mg]
        for lot, grade in zip(recorded.lots[len(cards) :], picked, strict=True):
            _write_card(doing, lot, cards, flush=flush, grade=grade)
            put(recorded.entry, lot, shelf)
    return recorded


def _weights(cards: Sequence[LotCard], stated: Sequence[int], total_mg: int) -> list[int]:
    """Fill in the weights that were not taken apart, by blocks on hand; they add up to the pick."""
    rest_mg = total_mg - sum(stated)
    unweighed = [k for k, mg in enumerate(stated) if not mg]
    codes = [card.lot.code for card in cards]
    if rest_mg < 0 or min(stated) < 0 or (rest_mg and not unweighed) or (unweighed and not rest_mg):
        raise Malformed(
            f"{', '.join(codes)}: the weights by lot come to {both(sum(stated))}, the pick "
            f"to {both(total_mg)}. Correct one of them, leave out a lot that gave nothing, "
            "or state no weight for a lot that was not weighed apart.",
            codes,
        )
    weights = list(stated)
    if unweighed:
        blocks = [cards[k].lot.quantity for k in unweighed]
        for k, mg in zip(unweighed, largest_remainder(rest_mg, blocks), strict=True):
            weights[k] = mg
    return weights


def _from_blocks(cards: Sequence[LotCard], weights: Sequence[int], flush: int) -> list[LineDraft]:
    lines = []
    for blocks, given_mg in zip(cards, weights, strict=True):
        assert blocks.strain
        on_hand = blocks.lot.quantity
        lines.append(
            LineDraft(
                blocks.lot,
                Role.USED,
                0,
                given_mg=given_mg,
                turn=flush,
                pieces=on_hand,
                turn_mg=blocks.strain.planned_mg(flush) * on_hand,
                later_mg=blocks.strain.expected_after_mg(flush) * on_hand,
            )
        )
    return lines


def _falling_on(
    charges: Iterable[ChargeDraft], lots: Sequence[Lot], weights: Sequence[int]
) -> tuple[ChargeDraft, ...]:
    """Let charges fall on the lots themselves, by the weight each gave; the parts add up."""
    return tuple(
        replace(charge, lot=lot, amount=amount, quantity_milli=quantity)
        for charge in charges
        for lot, amount, quantity in zip(
            lots, split(charge.amount, weights), split(charge.quantity_milli, weights), strict=True
        )
    )


def _into_lots(species: Species, shares: Mapping[Grade, Share]) -> list[LineDraft]:
    return [
        LineDraft(
            NewLot(item_for(f"Fresh {species.name}, {grade.label}", stage=Stage.CROP)),
            Role.MADE,
            share.mass_mg,
            basis=share.basis,
            worth=0 if share.basis else share.worth,
        )
        for grade, share in shares.items()
        if share.mass_mg
    ]


def _write_card(
    doing: Doing, lot: Lot, cards: Sequence[LotCard], *, flush: int, grade: Grade
) -> None:
    strains = {blocks.strain for blocks in cards}
    strain = strains.pop() if len(strains) == 1 else None
    card(
        lot,
        Stage.CROP,
        species=cards[0].species,
        strain=strain,
        flush=flush,
        grade=grade,
        harvested_on=doing.day,
    )


def _last_pick(lot: Lot) -> Line:
    picks = lot.lines.filter(given_mg__gt=0, entry__kind=PICK, entry__amends=None)
    standing = picks.standing()
    last = standing.order_by("-entry_id").first()
    if last is None:
        raise MendedByRecording(
            f"Lot {lot.code} ({lot.quantity} blocks) was never picked, so spent blocks have no "
            "crop to share its cost with. Record the pick first, or mark the blocks spent.",
            [lot.code],
            kind=PICK,
        )
    return last


def _weight_left(lot: Lot) -> int:
    """Weigh the blocks on hand as they were filled, less all that was picked; never below 0."""
    picked = lot.lines.filter(role=Role.USED).aggregate(mg=Sum("given_mg"))["mg"] or 0
    return max(0, lot.quantity * (lot.unit_mass_mg or 0) - picked)


def _room(doing: Doing, cards: Sequence[LotCard]) -> list[ChargeDraft]:
    """Charge each lot's room since its last pick, or since it came to where it fruits.

    It falls on the blocks, which share it with every pick, never on the crate of the day alone.
    """
    charges: list[ChargeDraft] = []
    for blocks in cards:
        moved = last_day(blocks.lot, [MOVE_TO_FRUITING])
        kinds = [MOVE_TO_FRUITING, PICK] if moved else [INOCULATE_BLOCKS, PICK]
        charges += [replace(room, lot=blocks.lot) for room in room_since(doing, blocks.lot, kinds)]
    return charges


# --- what is asked and refused ---------------------------------------------------------------


def _one_species(cards: Sequence[LotCard]) -> Species:
    found = {blocks.species for blocks in cards if blocks.species}
    if len(found) != 1:
        named = ", ".join(f"{blocks.lot.code} is {blocks.species}" for blocks in cards)
        raise Malformed(
            f"A pick is of one species ({named or 'no lot named'}). Record one pick a species.",
            [blocks.lot.code for blocks in cards],
        )
    return found.pop()
