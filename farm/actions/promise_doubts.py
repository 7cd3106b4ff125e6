"""Ask before a promise is broken: nothing set aside for an order is taken without a question."""

from collections.abc import Sequence
from datetime import date

from farm.actions.common import Draw, amount_words
from farm.actions.questions import PlausibilityQuestion
from farm.models import Order
from farm.queries.orders.allocations import SetAside, set_aside, words_of


def set_aside_doubt(
    draws: Sequence[Draw], *, besides: tuple[Order, date] | None = None
) -> PlausibilityQuestion | None:
    """Doubt what takes from lots that are set aside for orders, other than one day's own.

    10 packs, 8 of them set aside: 2 go without a question.
    """
    parts = set_aside(of={draw.lot.pk for draw in draws})
    parts = [part for part in parts if (part.order, part.day) != besides]
    taken = [one for draw in draws if (one := _broken(draw, parts))]
    if not taken:
        return None
    codes = [draw.lot.code for draw in draws]
    said, discreet = (
        f"{'; '.join(words)}. Take it all the same?" for words in zip(*taken, strict=True)
    )
    return PlausibilityQuestion(said, codes, is_order=True, discreet=discreet)


def _broken(draw: Draw, parts: Sequence[SetAside]) -> tuple[str, str] | None:
    """Say how a draw breaks promises of its lot, with whose and without; none if enough is free."""
    promised = [part for part in parts if part.lot.pk == draw.lot.pk and part.quantity]
    kept = sum(part.quantity for part in promised)
    if not promised or draw.quantity <= promised[0].lot.quantity - kept:
        return None
    lot = promised[0].lot
    asked, aside = (amount_words(amount, lot.item.dimension) for amount in (draw.quantity, kept))
    numbers = sorted({part.order.pk for part in promised})
    orders = f"order{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"
    said = f"Lot {lot.code}: {asked} asked for, {aside} set aside for"
    return f"{said} {words_of(promised)}", f"{said} {orders}"
