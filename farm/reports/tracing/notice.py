"""The first words of a recall notice: neutral, short, and leaving the verdict to the authority."""

from collections.abc import Iterable
from datetime import date

from farm import habits
from farm.models import Farm
from farm.queries.tracing.reach import Reach


def first_words(farm: Farm, reach: Reach, day: date) -> str:
    """Write a notice to be edited: what it is about, what to do, whom to ask, whom to answer."""
    products = _listed(name for one in reach.recipients for name in one.products)
    unnamed = _listed(one.name for one in reach.unnamed)
    named = _listed([*products, *unnamed]) or ["our products"]
    days = [one.first for one in reach.recipients] + [one.day for one in reach.unnamed]
    days += [one.last for one in reach.recipients]
    when = f", sold from {habits.day(min(days))} to {habits.day(max(days))}" if days else ""
    codes = _listed(code for one in reach.recipients for code in one.codes)
    codes = _listed([*codes, *(one.lot_code for one in reach.unnamed)])
    return "\n".join(
        (
            f"{farm.name}, {farm.place}",
            f"Notice of {habits.day(day)}",
            "",
            f"We are calling back: {', '.join(named)}{when}.",
            f"The lot on the label is one of: {', '.join(codes)}."
            if codes
            else "Please ask us which lots are meant.",
            "",
            "As a precaution, please do not eat, serve, sell or pass on these products, and set "
            "them aside, marked, away from other food.",
            "Please tell us how much you have, how much was used or sold and to whom, and keep the "
            "rest until we fetch it or say what to do with it.",
            "Whoever feels ill after eating them should ask a doctor and take this notice along.",
            "",
            "The food-safety authority decides what must be done; its word goes before ours.",
            f"Please answer: {farm.name}, {farm.place}.",
        )
    )


def _listed(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))
