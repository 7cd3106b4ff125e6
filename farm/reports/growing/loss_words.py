"""How a check counted its loss, in words: by which published way, and what the other gives."""

from farm.queries.growing.loss_ways import LossWay
from farm.units import show_money

ON_THE_WAY = "noticed on the way, the planned loss leaves first, without cost"
INSPECTED = "found by a check that passes the rest, what is beyond plan leaves first, at its cost"


def loss_words(loss: LossWay, currency: str) -> str:
    """Say it in one or two sentences, with what a good block carries each way."""
    good, other = (show_money(money, currency, 4) for money in (loss.good, loss.other))
    this, that = (INSPECTED, ON_THE_WAY) if loss.inspected else (ON_THE_WAY, INSPECTED)
    planned = f"{loss.lost} lost, {loss.lost - loss.beyond} of them as planned"
    if good == other:
        return f"{planned}: {this}. Both published ways of counting give {good} a good block."
    return (
        f"{planned}: {this}, so a good block carries {good}. By the other published way "
        f"({that}) it would carry {other}."
    )
