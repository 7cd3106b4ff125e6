"""The pass to compare with: lots in the order that Kahn's algorithm finds, money as Decimal.

The same job done the usual way: costs in units of money, each share rounded to 1/10,000, the
last draw of a lot taking what is left.
"""

from collections import defaultdict, deque
from decimal import Decimal

from ledger.costing import Step
from ledger.models import KINDS
from ledger.story import Story

FINEST = Decimal("0.0001")
NOTHING = Decimal(0)
Money = list[Decimal]


def plain_pass(story: Story) -> tuple[dict[int, Money], dict[tuple[int, int, str], Money]]:
    """Cost on hand of every lot, and what every line moved, by kind."""
    waits_for, feeds = _graph(story)
    pools: dict[int, Money] = {
        place: [Decimal(amount).scaleb(-4) for amount in cost]
        for place, cost in story.charged.items()
    }
    ready = deque(lot for lot in story.steps if not waits_for[lot])
    left: dict[int, Money] = {}
    moved: dict[tuple[int, int, str], Money] = {}
    while ready:
        lot = ready.popleft()
        left[lot] = _walk(lot, story.steps[lot], pools, moved)
        for below in feeds[lot]:
            waits_for[below] -= 1
            if not waits_for[below]:
                ready.append(below)
    return left, moved


def _graph(story: Story) -> tuple[dict[int, int], dict[int, list[int]]]:
    waits_for: dict[int, int] = defaultdict(int)
    feeds: dict[int, list[int]] = defaultdict(list)
    for lot, steps in story.steps.items():
        for step in steps:
            if step.role == "used":
                for below, *_ in story.made_at.get(step.place, ()):
                    feeds[lot].append(below)
                    waits_for[below] += 1
    return waits_for, feeds


def _walk(
    lot: int, steps: list[Step], pools: dict[int, Money], moved: dict[tuple[int, int, str], Money]
) -> Money:
    cost: Money = [NOTHING] * len(KINDS)
    quantity = planned = 0
    picks: list[Step] = []
    for step in steps:
        if step.role in ("bought", "made"):
            quantity += step.quantity
            planned += step.quantity * step.planned_loss_ppm // 1_000_000
            pool = pools.get(step.place, [NOTHING] * len(KINDS))
            cost = [a + b for a, b in zip(cost, pool, strict=True)]
            cost[0] += Decimal(step.money).scaleb(-4)
            moved[lot, step.place, step.role] = cost
        elif step.given_mg:
            picks.append(step)
        elif step.role == "lost":
            free = quantity if picks else min(planned, -step.quantity)
            planned -= free
            quantity -= min(free, -step.quantity)
            cost, quantity, out = _draw(cost, quantity, max(0, -step.quantity - free))
            moved[lot, step.place, step.role] = out
        else:
            cost, quantity, out = _draw(cost, quantity, -step.quantity)
            moved[lot, step.place, step.role] = out
            if step.role == "used":
                _pour(pools, step.place, out)
    weight = sum(pick.given_mg for pick in picks)
    for pick in picks:
        share = Decimal(pick.given_mg) / weight
        out = [(c * share).quantize(FINEST) for c in cost]
        moved[lot, pick.place, "used"] = out
        _pour(pools, pick.place, out)
    return [NOTHING] * len(KINDS) if picks else cost


def _draw(cost: Money, quantity: int, taken: int) -> tuple[Money, int, Money]:
    if not taken:
        return cost, quantity, [NOTHING] * len(cost)
    share = Decimal(taken) / Decimal(quantity)
    out = cost if taken == quantity else [(c * share).quantize(FINEST) for c in cost]
    return [a - b for a, b in zip(cost, out, strict=True)], quantity - taken, out


def _pour(pools: dict[int, Money], place: int, out: Money) -> None:
    known = pools.get(place)
    pools[place] = [a + b for a, b in zip(known, out, strict=True)] if known else list(out)
