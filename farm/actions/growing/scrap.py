"""Scrap: lost blocks that are worth something still, counted as the farm counts its by-products."""

from typing import NamedTuple

from django.db.models import Sum

from farm.actions.common import item_for
from farm.actions.growing.harvesting import MG_PER_KG, worth_as_much
from farm.kinds.growing import KEEP_SPENT_BLOCKS
from farm.models import ByProductWay, LotCard, Stage
from farm.queries.entries import on_hand_before
from ledger.costing import Step
from ledger.drafts import NUMBERS, LineDraft, NewLot
from ledger.models import Entry, Line, Lot, Role
from ledger.story import picks_before_now, read_steps


class Scrap(NamedTuple):
    """What lost blocks are worth together, and a kilo of the crop of those that stay."""

    money: int
    crop_kg_money: int


def scrapped(blocks: LotCard, lost: int, scrap: Scrap, *, way: ByProductWay) -> list[LineDraft]:
    """Make a lot of what was lost and is worth something still, weighed as it was filled.

    Taken off, it takes its worth. Shared, the part of the planned loss is one more share: before
    the first pick beside the crop that is planned of the other blocks, after it as a pick of what
    is worth as much. Whatever the way, what is beyond plan lowers its own loss at its worth, for
    abnormal waste is an expense of the period (IAS 2 paragraph 16); and where nothing else stays
    it takes its worth. 40 blocks at 200.00, two planned and lost, worth 4.00, the crop of a block
    0.7 kg at 10.00: 38 are worth 266.00, so 4 of 270 parts, 2.9629.
    """
    lot, stays = blocks.lot, blocks.lot.quantity - lost
    picks = _main_picks(lot)
    is_shared = way == ByProductWay.SHARED
    if is_shared and picks and (stays or picks[-1].place > lot.made_by_id):
        lines = [LineDraft(lot, Role.LOST, -lost), _like_a_pick(lot, picks[-1], scrap, stays=stays)]
    else:
        one = _crop_of_a_block(blocks, scrap) if is_shared and not picks else 0
        lines = [
            LineDraft(lot, Role.LOST, -lost, worth=scrap.money, basis=one),
            LineDraft(lot, Role.USED, 0, worth=scrap.money, basis=lost),
        ]
    mass_mg = lost * (lot.unit_mass_mg or 0)
    item = item_for("Blocks binned and sold", stage=Stage.SPENT)
    return [*lines, LineDraft(NewLot(item), Role.MADE, mass_mg, basis=mass_mg)]


def by_products_that_follow(
    root: Entry, lot: Lot, role: str, *, right_quantity: int
) -> list[LineDraft]:
    """State what follows of a by-product when a number of its entry is corrected.

    A count of lost blocks: the weight and the worth of the scrap, by the count. 4 blocks of 9 kg
    worth 8.00, corrected to 3: 6.75 kg worth 6.00. The weight of kept spent blocks that are taken
    off: what a trace credits them with.
    """
    if role == Role.MADE and root.kind == KEEP_SPENT_BLOCKS:
        return _kept_that_follow(root, right_mg=right_quantity)
    was = _sums(root, lot, Role.LOST)["quantity"] if role == Role.LOST else 0
    used = _sums(root, lot, Role.USED)
    if not was or not used["basis"] or used["quantity"] or used["given_mg"]:
        return []
    basis, worth = (used[name] * right_quantity // -was for name in ("basis", "worth"))
    right = used | {"basis": basis, "worth": worth}
    if used["pieces"]:
        stays = max(on_hand_before(root)[lot.pk] - right_quantity, 1)
        right |= {name: used[name] * stays // used["pieces"] for name in ("turn_mg", "later_mg")}
        right["pieces"] = stays
    added = {name: right[name] - used[name] for name in NUMBERS}
    line = LineDraft(
        lot,
        Role.USED,
        0,
        basis=added["basis"],
        worth=added["worth"],
        pieces=added["pieces"],
        turn_mg=added["turn_mg"],
        later_mg=added["later_mg"],
    )
    return [line, *_binned_that_follow(root, right_quantity, -was)]


# --- by worth --------------------------------------------------------------------------------


def _main_picks(lot: Lot) -> list[Step]:
    """The picks of the crop, of the whole before the lot was split off and of the lot itself."""
    picks = picks_before_now(read_steps([lot.pk]), lot.pk)
    return [pick for pick in picks if pick.picked_mg and pick.pieces]


def _like_a_pick(lot: Lot, last: Step, scrap: Scrap, *, stays: int) -> LineDraft:
    """Share as the crop that is worth as much would, beside what those that stay still give."""
    pieces = max(stays, 1)
    turn_mg, later_mg = (mg * pieces // last.pieces for mg in (last.turn_mg, last.later_mg))
    like_mg = worth_as_much(scrap.money, scrap.crop_kg_money)
    return LineDraft(
        lot,
        Role.USED,
        0,
        basis=like_mg,
        turn=last.turn,
        pieces=pieces,
        turn_mg=turn_mg,
        later_mg=later_mg,
    )


def _crop_of_a_block(blocks: LotCard, scrap: Scrap) -> int:
    """What the crop that is planned of a block is worth, half up; 0 where none is planned."""
    worth_as_much(scrap.money, scrap.crop_kg_money)  # refuses what is worth nothing
    planned_mg = sum(blocks.strain.flushes_mg) if blocks.strain else 0
    return (2 * planned_mg * scrap.crop_kg_money + MG_PER_KG) // (2 * MG_PER_KG)


# --- corrected -------------------------------------------------------------------------------


def _sums(root: Entry, lot: Lot, role: str) -> dict[str, int]:
    lines = Line.objects.standing_at(root.seq).filter(lot=lot, role=role)
    sums = lines.aggregate(*(Sum(name) for name in NUMBERS))
    return {name: sums[f"{name}__sum"] or 0 for name in NUMBERS}


def _binned_that_follow(root: Entry, right: int, was: int) -> list[LineDraft]:
    made = Line.objects.get(entry=root, role=Role.MADE, quantity__gt=0)
    sums = _sums(root, made.lot, Role.MADE)
    quantity, basis = (sums[name] * right // was - sums[name] for name in ("quantity", "basis"))
    return [LineDraft(made.lot, Role.MADE, quantity, basis=basis)]


def _kept_that_follow(root: Entry, *, right_mg: int) -> list[LineDraft]:
    used = Line.objects.get(entry=root, role=Role.USED)
    sums = _sums(root, used.lot, Role.USED)
    if not sums["worth"]:
        return []
    return [LineDraft(used.lot, Role.USED, 0, basis=right_mg - sums["basis"])]
