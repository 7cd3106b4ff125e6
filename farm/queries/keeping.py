"""How long a lot keeps in the fridge: its last day, and the days left until then."""

from collections.abc import Iterable
from datetime import date, timedelta

from farm.kinds.store import OfOldLots
from farm.models import Form, LotCard, Stage
from farm.units import show_count
from ledger.models import Entry, Lot


def keeps_until(card: LotCard) -> date | None:
    """The last day a fresh lot keeps: its best before, else the species' days from its pick.

    What is dried, or was never picked, has none.
    """
    if card.stage == Stage.PACKS:
        return card.best_before
    if card.stage != Stage.CROP or card.harvested_on is None or card.species is None:
        return None
    return card.harvested_on + timedelta(days=card.species.fridge_days)


def is_past(card: LotCard, day: date) -> bool:
    """Say whether food is past its days; on its last day it is good."""
    until = keeps_until(card)
    return until is not None and until < day


def past_days(cards: Iterable[LotCard], day: date) -> dict[str, int] | None:
    """Which of the lots of which another is made on a day were past their days; one query.

    Each with how many days. It stays said of all that is made of that lot in
    turn: a pouch filled from the jar.
    """
    found = list(cards)
    past: dict[str, int] = {}
    makers = Entry.objects.filter(pk__in={card.lot.made_by_id for card in found})
    for words in makers.order_by("pk").values_list("particulars", flat=True):
        past |= OfOldLots.read(words).past_days or {}
    for card in found:
        until = keeps_until(card)
        if until and until < day:
            past[card.lot.code] = (day - until).days
    return past or None


def past_words(lot: Lot) -> str:
    """Say of what that was past its days a lot was made: “lot K7M4Q, 3 days too old”; else ""."""
    past = OfOldLots.read(lot.made_by.particulars).past_days or {}
    said = (f"lot {code}, {show_count(days, 'day', 'days')} too old" for code, days in past.items())
    return "; ".join(said)


def is_fresh(card: LotCard) -> bool:
    """Say whether a lot is fresh mushrooms, loose or packed."""
    if card.product is not None:
        return bool(card.product.form == Form.FRESH)
    return card.stage == Stage.CROP


def too_old_words(card: LotCard, day: date) -> str:
    """“7 days too old”, “today is its last day”; empty while a lot keeps longer than the day."""
    until = keeps_until(card)
    if until is None or until > day:
        return ""
    over = (day - until).days
    return f"{show_count(over, 'day', 'days')} too old" if over else "today is its last day"
