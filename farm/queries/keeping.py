"""How long a lot keeps in the fridge: its last day, and the days left until then."""

from datetime import date, timedelta

from farm.models import Form, LotCard, Stage
from farm.units import show_count


def keeps_until(card: LotCard) -> date | None:
    """The last day a fresh lot keeps: its best before, else the species' days from its pick.

    What is dried, or was never picked, has none.
    """
    if card.stage == Stage.PACKS:
        return card.best_before
    if card.stage != Stage.CROP or card.harvested_on is None or card.species is None:
        return None
    return card.harvested_on + timedelta(days=card.species.fridge_days)


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
