"""Where a load went: what was taken to a selling place or delivered, and what became of it."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from django.db.models import QuerySet

from farm.models import Form, GivenAway, LoadLine, Sale, SaleLine, SellingPlace, StallDay
from farm.queries.cells import GRAM
from farm.queries.months.reconciliation import (
    Move,
    Reconciliation,
    Step,
    goods_flows,
    handed_among,
    move_of,
    moves_of,
    of_form,
)
from farm.queries.movements import moved
from farm.steps import rounded
from farm.weight import HUNDREDTH, SCALE, Weight
from ledger.models import Flow, Role


def reconcile_place(
    place: SellingPlace, first: date, last: date, *, form: Form = Form.FRESH
) -> Reconciliation:
    """Reconcile what was loaded for a place, or delivered, on some days: where did the load go?

    A load belongs to the day that it was for, with all that was said of it when it was settled.
    Took 40 packs, gave 1 away as samples, brought back 9: sold 30.
    """
    days = StallDay.objects.filter(place=place, day__range=(first, last))
    moves = list(_loaded(days.standing(), form))
    direct = SaleLine.objects.filter(
        sale__place=place, sale__stall_day=None, line__entry__happened_on__range=(first, last)
    )
    # Named one by one: within a query within a query PostgreSQL, without counts, takes minutes.
    entries = set(direct.values_list("line__entry__place", flat=True))
    flows = goods_flows(form, None).filter(
        entry__in=entries,
        role__in=(Role.SOLD, Role.BACK),
        entry__happened_on__range=(first, last),
    )
    for move in _handed_moves(flows):
        moves += [replace(move, step=Step.DELIVERED, mass_mg=-move.mass_mg), move]
    return Reconciliation(form, 0, tuple(moves), 0, 0)


def _loaded(days: QuerySet[StallDay], form: Form) -> Iterator[Move]:
    """What was loaded, what the settling says of it, and what that leaves: it was brought back.

    What was sold and given away is in the grams that its month handed out; what came back is
    rounded to them, and what was loaded is both together.
    """
    sales = Sale.objects.filter(stall_day__in=days).standing()
    settled = dict(sales.values_list("stall_day_id", "pk"))
    entries = {
        **dict(sales.values_list("entry_id", "stall_day_id")),
        **dict(
            GivenAway.objects.filter(sale__in=sales).values_list("entry_id", "sale__stall_day_id")
        ),
    }
    flows = goods_flows(form, None).filter(entry__in=entries, role__in=(Role.SOLD, Role.LOST))
    gone: dict[tuple[int, str], int] = defaultdict(int)
    for move in _handed_moves(flows):
        gone[entries[move.entry], move.lot_code] += move.mass_mg
        yield move
    exact_mg: dict[tuple[int, str], int] = defaultdict(int)
    for one in moved(flows):
        exact_mg[entries[one.entry], one.lot_code] += one.exact_mg
    lines = LoadLine.objects.filter(of_form(form), stall_day__in=days)
    for line in lines.select_related("stall_day", "lot__item", "lot__card__species"):
        day = line.stall_day
        loaded = move_of(line.lot, line.quantity, step=Step.LOADED, day=day.day, entry=day.entry_id)
        of = line.stall_day_id, line.lot.code
        left_mg = _in_grams(loaded.mass_mg + exact_mg[of])
        yield replace(loaded, mass_mg=left_mg - gone[of])
        step = Step.BACK if line.stall_day_id in settled else Step.OUT
        if left_mg:
            yield replace(loaded, step=step, mass_mg=-left_mg, pieces=0)


def _in_grams(mass_mg: int) -> int:
    return Weight(rounded(mass_mg, GRAM) * GRAM, rounded(mass_mg * SCALE, HUNDREDTH))


def _handed_moves(flows: QuerySet[Flow]) -> list[Move]:
    """Say of each flow its step, in the grams that their months handed out; six queries."""
    return moves_of(flows, handed_among(flows))
