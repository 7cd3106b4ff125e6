"""What lots held on two evenings: before some days, and at the end of them."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, Sum

from farm.models import Species
from farm.queries.finding import Amount, amount_of
from ledger.models import KINDS, Flow


@dataclass(frozen=True, slots=True)
class Held:
    """A lot with quantity or cost on hand. ``form``: of its product, if it is packed."""

    stage: int
    dimension: str
    unit_mass_mg: int | None
    form: str | None
    quantity: int
    cost: tuple[int, ...]

    @property
    def amount(self) -> Amount:
        return amount_of(self.quantity, self.dimension, self.unit_mass_mg)


def held_around(
    first: date, last: date, species: Species | None = None
) -> tuple[list[Held], list[Held]]:
    """List what lots (of a species) held before some days and at their end; one query.

    Both are added up from all that ever moved, so that the days between can be held against them.
    """
    flows = Flow.objects.filter(entry__happened_on__lte=last)
    if species:
        flows = flows.filter(lot__card__species=species)
    before = Q(entry__happened_on__lt=first)
    numbers = ("quantity", *KINDS)
    sums = {f"start_{name}": Sum(name, filter=before, default=0) for name in numbers}
    sums |= {f"end_{name}": Sum(name) for name in numbers}
    of = ("lot__card__stage", "lot__item__dimension", "lot__unit_mass_mg",
          "lot__card__product__form")  # fmt: skip
    start: list[Held] = []
    end: list[Held] = []
    for _, stage, dimension, unit_mg, packed, *row in (
        flows.values_list("lot_id", *of).annotate(**sums).order_by("lot_id")
    ):
        half = len(row) // 2
        for held, (quantity, *cost) in ((start, row[:half]), (end, row[half:])):
            if quantity or any(cost):
                held.append(Held(stage, dimension, unit_mg, packed, quantity, tuple(cost)))
    return start, end
