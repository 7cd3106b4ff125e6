"""Where one lot went: its own steps, and its part of those of the packs that were made of it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from farm.models import Form, Stage
from farm.queries.cells import GRAM
from farm.queries.months.reconciliation import (
    Handed,
    Move,
    Reconciliation,
    Step,
    handed_among,
    moves_of,
    weighings_of,
)
from farm.queries.months.stock_levels import held_around
from farm.weight import Weight, hundredths_of
from ledger.amounts import largest_remainder
from ledger.models import Dimension, Edge, Flow, Lot, Role

# Of each pack lot, what was drawn of every lot for it: by entry and lot.
Draws = dict[int, dict[tuple[int, int], int]]


def reconcile_lot(lot: Lot) -> Reconciliation:
    """Reconcile one picked, dried or packed lot over its life; packs made of it are followed.

    Of packs that mix lots each takes its part by the weight that was drawn: packs of 6 kg from
    this lot and 4 kg from another that were all sold are 6 kg sold. All is in the grams that the
    months handed out, and what is still here in those of the last evening; of a pack's grams the
    lots take their parts one step after the other, so that they add up both ways.
    """
    card = lot.card
    dried = card.stage == Stage.DRIED or (card.product and card.product.form == Form.DRIED)
    of_packs = _draws_into_packs(lot)
    handed = handed_among(Flow.objects.filter(lot__in=[lot.pk, *of_packs]))
    _, held = held_around(date.max, date.max)
    exact, exact_mg = _life(lot, of_packs, held={one.lot: one.exact_mg for one in held})
    grams = {one.lot: one.handed_mg for one in held}
    moves, end_mg = _life(lot, of_packs, held=grams, handed=handed)
    moved_mg = sum(move.mass_mg for move in moves)
    beyond_mg = moved_mg - sum(move.mass_mg for move in exact) - end_mg + exact_mg
    rounding_mg = Weight(int(beyond_mg), hundredths_of(moved_mg - end_mg) or 0)
    form = Form.DRIED if dried else Form.FRESH
    return Reconciliation(form, 0, tuple(moves), end_mg, weighings_of(exact), rounding_mg)


def _own_moves(lot: Lot, handed: Handed | None) -> list[Move]:
    """A lot's own moves: packs came in when they were packed; what went into packs is followed."""
    moves = moves_of(Flow.objects.filter(lot=lot), handed)
    if lot.card.stage == Stage.PACKS:
        return [_as_packed(move) if move.step is Step.OVER else move for move in moves]
    return [move for move in moves if move.step is not Step.OVER]


def _as_packed(move: Move) -> Move:
    return replace(move, step=Step.PACKED)


def _draws_into_packs(lot: Lot) -> Draws:
    """Of each pack lot that a lot went into, what was drawn of every lot; two queries."""
    into = Edge.objects.filter(src=lot, dst__card__stage=Stage.PACKS, quantity__gt=0)
    edges = Edge.objects.filter(dst__in=into.values("dst"), src__item__dimension=Dimension.MASS)
    drawn = edges.filter(src__card__stage__in=(Stage.CROP, Stage.DRIED))
    found: Draws = {}
    for pack, src, entry, quantity in drawn.order_by("entry_id", "pk").values_list(
        "dst_id", "src_id", "entry_id", "quantity"
    ):
        found.setdefault(pack, {})[entry, src] = quantity
    return found


def _life(
    lot: Lot, of_packs: Draws, *, held: Mapping[int, int], handed: Handed | None = None
) -> tuple[list[Move], int]:
    """Tell a lot's moves, with its part of those of its packs, and what of it is left.

    Of 10 kg drawn, 6 from this lot, 7.75 kg sold give 4.65 kg. ``handed``: in whole grams.
    """
    moves, end_mg = _own_moves(lot, handed), held.get(lot.pk, 0)
    for pack, draws in of_packs.items():
        at = [src for _, src in draws].index(lot.pk)
        drawn = list(draws.values())
        # What was filled in, less all that was drawn for it, is what went beyond the weight.
        whole_mg = (
            sum(drawn)
            if handed is None
            else sum(-(handed[entry, src, Role.USED].mass_mg or 0) for entry, src in draws)
        )
        steps = [
            replace(move, mass_mg=move.mass_mg - whole_mg) if move.step is Step.OVER else move
            for move in moves_of(Flow.objects.filter(lot=pack), handed)
        ]
        parts = _parts([move.mass_mg for move in steps], drawn, at)
        shared = (replace(one, mass_mg=mg, pieces=0) for one, mg in zip(steps, parts, strict=True))
        moves += [move for move in shared if move.mass_mg]
        end_mg += _part(held.get(pack, 0), drawn, at)
    return moves, end_mg


def _parts(masses: Iterable[int], drawn: Sequence[int], at: int) -> Iterator[int]:
    """Give the part of the lot at a place of each, by the sums so far: so all parts add up."""
    so_far = 0
    for mass in masses:
        before, so_far = so_far, so_far + mass
        yield _part(so_far, drawn, at) - _part(before, drawn, at)


def _part(mass: int, drawn: Sequence[int], at: int) -> int:
    """Share a weight by what was drawn: one that was handed out in whole grams, else in mg."""
    if not isinstance(mass, Weight):
        return largest_remainder(mass, drawn)[at]
    grams, pounds = (
        largest_remainder(steps, drawn)[at] for steps in (mass // GRAM, mass.hundredths)
    )
    return Weight(grams * GRAM, pounds)
