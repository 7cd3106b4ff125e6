"""Where a load went: what was taken to a selling place or delivered, and what became of it."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date

from django.db.models import QuerySet

from farm.models import Form, GivenAway, LoadLine, Sale, SaleLine, SellingPlace, StallDay
from farm.queries.reconciliation import (
    Move,
    Reconciliation,
    Step,
    goods_flows,
    move_of,
    moves_of,
    of_form,
)
from ledger.models import Role


def reconcile_place(
    place: SellingPlace, first: date, last: date, *, form: Form = Form.FRESH
) -> Reconciliation:
    """Reconcile what was loaded for a place, or delivered, on some days: where did the load go?

    A load belongs to the day that it was for, with all that was said of it when it was settled.
    Took 40 packs, gave 1 away as samples, brought back 9: sold 30.
    """
    days = StallDay.objects.filter(place=place, day__range=(first, last))
    moves = list(_loaded(days.exclude(entry__amendments__takes_back=True), form))
    direct = SaleLine.objects.filter(sale__place=place, sale__stall_day=None)
    flows = goods_flows(form, None).filter(
        entry__in=direct.values("line__entry__place"), role__in=(Role.SOLD, Role.BACK),
        entry__happened_on__range=(first, last),
    )  # fmt: skip
    for move in moves_of(flows):
        moves += [replace(move, step=Step.DELIVERED, mass_mg=-move.mass_mg), move]
    return Reconciliation(form, 0, tuple(moves), 0, 0)


def _loaded(days: QuerySet[StallDay], form: Form) -> Iterator[Move]:
    """What was loaded, what the settling says of it, and what that leaves: it was brought back."""
    sales = Sale.objects.filter(stall_day__in=days).exclude(entry__amendments__takes_back=True)
    settled = dict(sales.values_list("stall_day_id", "pk"))
    entries = {
        **dict(sales.values_list("entry_id", "stall_day_id")),
        **dict(
            GivenAway.objects.filter(sale__in=sales).values_list("entry_id", "sale__stall_day_id")
        ),
    }
    flows = goods_flows(form, None).filter(entry__in=entries, role__in=(Role.SOLD, Role.LOST))
    gone: dict[tuple[int, str], int] = defaultdict(int)
    for move in moves_of(flows):
        gone[entries[move.entry], move.lot_code] += move.mass_mg
        yield move
    lines = LoadLine.objects.filter(of_form(form), stall_day__in=days)
    for line in lines.select_related("stall_day", "lot__item", "lot__card__species"):
        day = line.stall_day
        loaded = move_of(line.lot, line.quantity, step=Step.LOADED, day=day.day, entry=day.entry_id)
        yield loaded
        left_mg = loaded.mass_mg + gone[line.stall_day_id, line.lot.code]
        step = Step.BACK if line.stall_day_id in settled else Step.OUT
        if left_mg:
            yield replace(loaded, step=step, mass_mg=-left_mg, pieces=0)
