"""What lots held on two evenings: before some days, and at the end of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Q, Sum

from farm.models import Species
from farm.queries.cells import CENT, GRAM, Part, steps_of
from farm.queries.finding import amount_of
from farm.weight import HUNDREDTH, SCALE, Weight
from ledger.models import KINDS, Dimension, Flow


@dataclass(frozen=True, slots=True)
class Held:
    """A lot with quantity or cost on hand. ``form``: of its product, if it is packed.

    ``handed_mg`` and ``handed_money``: its part of the whole grams and cents of the evening.
    """

    lot: int
    stage: int
    species_pk: int | None
    dimension: str
    unit_mass_mg: int | None
    form: str | None
    quantity: int
    cost: tuple[int, ...]
    handed_mg: int = 0
    handed_money: int = 0

    @property
    def pieces(self) -> int:
        return self.quantity if self.dimension == Dimension.COUNT else 0

    @property
    def exact_mg(self) -> int:
        return amount_of(self.quantity, self.dimension, self.unit_mass_mg).mass_mg or 0


def held_around(
    first: date, last: date, species: Species | None = None
) -> tuple[list[Held], list[Held]]:
    """List what lots (of a species) held before some days and at their end; one query.

    Both are added up from all that ever moved, so that the days between can be held against them.
    Grams and cents are handed out over all lots, so that those of all species come to the whole.
    """
    before = Q(entry__happened_on__lt=first)
    numbers = ("quantity", *KINDS)
    sums = {f"start_{name}": Sum(name, filter=before, default=0) for name in numbers}
    sums |= {f"end_{name}": Sum(name) for name in numbers}
    of = (
        "lot_id",
        "lot__card__stage",
        "lot__card__species_id",
        "lot__item__dimension",
        "lot__unit_mass_mg",
        "lot__card__product__form",
    )
    start: list[Held] = []
    end: list[Held] = []
    flows = Flow.objects.filter(entry__happened_on__lte=last)
    for lot, stage, species_pk, dimension, unit_mg, packed, *row in (
        flows.values_list(*of).annotate(**sums).order_by("lot_id")
    ):
        half = len(row) // 2
        for held, (quantity, *cost) in ((start, row[:half]), (end, row[half:])):
            if quantity or any(cost):
                held.append(
                    Held(lot, stage, species_pk, dimension, unit_mg, packed, quantity, tuple(cost))
                )
    return _of(species, _handed(start)), _of(species, _handed(end))


def _handed(rows: Sequence[Held]) -> list[Held]:
    """Hand out the evening's grams by stage, since no weight of all stages is told, and cents."""
    grams, hundredths = (
        steps_of([Part(one.stage, (one.lot,), one.exact_mg * scale) for one in rows], step)
        for scale, step in ((1, GRAM), (SCALE, HUNDREDTH))
    )
    costs = steps_of([Part("", (one.lot,), sum(one.cost)) for one in rows], CENT)
    return [
        replace(one, handed_mg=Weight(mass * GRAM, pounds), handed_money=money * CENT)
        for one, mass, pounds, money in zip(rows, grams, hundredths, costs, strict=True)
    ]


def _of(species: Species | None, rows: list[Held]) -> list[Held]:
    return [one for one in rows if one.species_pk == species.pk] if species else rows
