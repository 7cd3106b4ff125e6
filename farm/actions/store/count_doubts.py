"""What is doubtful in what was counted: held against what was set up, and what was counted before.

As in `doubts.py`, the factors are own rules.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from django.db.models import Sum

from farm.actions.common import Draw, amount_words
from farm.actions.doubts import in_other_unit
from farm.actions.questions import PlausibilityQuestion
from farm.models import Person, RecipeLine, RecipeVersion
from farm.queries.growing.usual_values import usual_lost_ppm
from farm.queries.store.counts import SCALE_MG
from ledger.models import Dimension, Line, Lot, Role

# Losses: three times the middle share, or the most there was; up to two are never asked about.
TIMES_LOST, FEW = 3, 2
BELIEVED_LOST_PPM = 300_000
# Ingredients: half or twice of what the recipe takes. Bags and jars: a tenth more or less.
TIMES_RECIPE, PERCENT_OF_BAGS = 2, 10
A_TENTH = 10
CAME_IN = (Role.BOUGHT, Role.MADE, Role.COUNTED)


class CheckCount(NamedTuple):
    """What was counted of a lot, in blocks or bags. ``passed`` None: all that was not lost."""

    code: str
    on_hand: int
    lost: int
    passed: int | None


def loss_doubt(counted: CheckCount, checked: int) -> PlausibilityQuestion | None:
    """Ask about more lost of what was looked at than is usual: 15 of 22, where 2 are."""
    lost = counted.lost
    usual = usual_lost_ppm() if lost > FEW else None
    most_ppm = max(usual.middle * TIMES_LOST, usual.most) if usual else BELIEVED_LOST_PPM
    if lost <= FEW or lost * 1_000_000 <= most_ppm * checked:
        return None
    before = f" (at most {usual.most / 10_000:.0f} % so far)" if usual else ""
    swapped = counted.passed is not None and counted.passed < lost
    return PlausibilityQuestion(
        f"Lot {counted.code}: {lost} of {checked} lost is more than usual{before}. Is that right?"
        + (" Did passed and lost change places?" if swapped else ""),
        [counted.code],
    )


def uncounted_doubt(counted: CheckCount) -> PlausibilityQuestion | None:
    """Ask about the few that are left uncounted, and about a tenth counted: a digit left out."""
    if counted.passed is None:
        return None
    seen = counted.passed + counted.lost
    rest = counted.on_hand - seen
    few = 0 < rest <= max(FEW, counted.on_hand // A_TENTH) and seen > rest
    if not few and seen * A_TENTH > counted.on_hand:
        return None
    are = "the other is" if rest == 1 else f"the other {rest} are"
    return PlausibilityQuestion(
        f"Lot {counted.code}: {seen} of {counted.on_hand} are counted, {are} taken as not looked "
        "at yet. Is that right?",
        [counted.code],
    )


def above_doubt(found: Iterable[tuple[Lot, int | None]]) -> PlausibilityQuestion | None:
    """Ask about more found of a lot than ever was in it: 380 packs, where 40 were packed.

    What came in is what was bought or made, and counted up since; two queries. More than the
    book says, but no more than that, may be right: a sale was written down too high.
    """
    counted = {lot.pk: number for lot, number in found if number is not None}
    came_in = dict(
        Line.objects.filter(lot__in=counted, role__in=CAME_IN)
        .order_by()
        .values_list("lot")
        .annotate(Sum("quantity"))
    )
    above = [
        lot
        for lot in Lot.objects.filter(pk__in=counted).select_related("item").order_by("pk")
        if counted[lot.pk] > came_in.get(lot.pk, 0) + _slack(lot)
    ]
    if not above:
        return None
    said = "; ".join(
        f"lot {lot.code}: {amount_words(counted[lot.pk], lot.item.dimension)} found, where "
        f"{amount_words(came_in.get(lot.pk, 0), lot.item.dimension)} is all that ever was in it"
        for lot in above
    )
    return PlausibilityQuestion(
        f"{said[0].upper()}{said[1:]}. Is the number right, and nothing of another lot among it?",
        [lot.code for lot in above],
    )


def _slack(lot: Lot) -> int:
    return SCALE_MG if lot.item.dimension == Dimension.MASS else 0


def most_in_lot(counted: CheckCount) -> str:
    """Guess what was meant where the lost were counted among the passed; else nothing."""
    passed, lost, on_hand = counted.passed or 0, counted.lost, counted.on_hand
    if lost <= 0 or not lost < passed <= on_hand:
        return ""
    return f" Are the {lost} lost among the {passed}? Then {passed - lost} passed."


def filling_doubts(
    by: Person, recipe: RecipeVersion, draws: Sequence[Draw], *, count: int
) -> Iterator[PlausibilityQuestion]:
    """Ask where so many bags and what was taken for them do not go together; one query."""
    for line in recipe.lines.select_related("supply__item"):
        taken = [draw for draw in draws if draw.lot.item_id == line.supply.item_id]
        if taken and not _fits(line, count, sum(draw.quantity for draw in taken)):
            yield _recipe_question(by, line, taken, count=count)


def _fits(line: RecipeLine, count: int, quantity: int) -> bool:
    takes = line.quantity * count
    if line.supply.item.dimension == Dimension.MASS:
        return takes <= quantity * TIMES_RECIPE and quantity <= takes * TIMES_RECIPE
    return abs(quantity - takes) * 100 <= takes * PERCENT_OF_BAGS


def _recipe_question(
    by: Person, line: RecipeLine, taken: Iterable[Draw], *, count: int
) -> PlausibilityQuestion:
    item, quantity = line.supply.item, sum(draw.quantity for draw in taken)
    was, takes = (
        amount_words(number, item.dimension) for number in (quantity, line.quantity * count)
    )
    hint = ""
    if item.dimension == Dimension.MASS:
        hint = in_other_unit(by, quantity, lambda mg: _fits(line, count, mg))
    return PlausibilityQuestion(
        f"{was} of {item.name} for {count} filled, where the recipe takes {takes}. Are the count "
        f"and the amount right?{hint}",
        [draw.lot.code for draw in taken],
    )
