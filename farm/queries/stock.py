"""What is on hand and where it stands."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum

from farm.models import (
    Goods,
    Loose,
    LooseGoods,
    LotCard,
    Placing,
    Product,
    Shelf,
    Species,
    Stage,
)
from farm.models.lots import STATES
from ledger.amounts import in_turn
from ledger.codes import near, tidy
from ledger.models import Dimension, Entry, Lot
from ledger.standing import StandingQuerySet


@dataclass(frozen=True)
class StageStock:
    """How many lots of a stage are on hand, added up: weighed ones in mg, counted in pieces."""

    stage: Stage
    lots: int
    mass_mg: int
    pieces: int
    held: int


def all_lots() -> StandingQuerySet[Lot]:
    """Every lot with what its name and label need, newest first."""
    return Lot.objects.select_related(
        "item",
        "made_by",
        "card__strain__species",
        "card__species",
        "card__product",
        "card__supplier",
        "card__recipe__recipe",
    ).order_by("-made_by_id", "-pk")


def lots_on_hand(*stages: int) -> list[Lot]:
    """Lots of some stages with something on hand, oldest first, with ``where``; two queries."""
    lots = all_lots().filter(quantity__gt=0)
    if stages:
        lots = lots.filter(card__stage__in=stages)
    return located(lots.order_by("made_by_id", "pk"))


def loose_goods() -> list[LooseGoods]:
    """What is sold loose here: fresh firsts of every species, and whatever else there ever was.

    Two queries.
    """
    species = {one.pk: one for one in Species.objects.all()}
    made = LotCard.objects.filter(stage__in=STATES, species__isnull=False).order_by()
    kinds = set(made.values_list("species", "stage", "grade").distinct())
    found = {LooseGoods.of(one, Loose.FRESH): None for one in species.values()}
    more = sorted(kinds, key=lambda kind: (species[kind[0]].name, kind[1:]))
    found |= {LooseGoods.of(species[pk], STATES[stage], grade): None for pk, stage, grade in more}
    return list(found)


def lots_of(what: Goods) -> StandingQuerySet[Lot]:
    """Every lot of some goods, the oldest first."""
    lots = all_lots().order_by("made_by_id", "pk")
    if isinstance(what, Product):
        return lots.filter(card__stage=Stage.PACKS, card__product=what)
    stages = [stage for stage, state in STATES.items() if state == what.state]
    grades = {what.grade, ""} if what.is_usual else {what.grade}
    return lots.filter(card__stage__in=stages, card__species=what.species, card__grade__in=grades)


def recorded_since(what: Goods, since: datetime, *, until: date) -> StandingQuerySet[Lot]:
    """Lots of some goods that were written down since a moment, and made by the end of a day."""
    made = {"made_by__recorded_at__gt": since, "made_by__happened_on__lte": until}
    return lots_of(what).filter(**made).standing("made_by")


def located(lots: Iterable[Lot]) -> list[Lot]:
    """Write beside each lot its ``shelf``, and ``where`` it stands in words; one query more.

    What was never placed has no shelf, and empty words.
    """
    found = list(lots)
    shelves = shelf_of(found)
    for lot in found:
        lot.shelf = shelves.get(lot.pk)  # type: ignore[attr-defined]
        lot.where = str(lot.shelf or "")  # type: ignore[attr-defined]
    return found


def shelf_of(lots: Sequence[Lot]) -> dict[int, Shelf]:
    """Say on which shelf each lot stands: its last placing that still stands; one query."""
    placings = Placing.objects.filter(lot__in=[lot.pk for lot in lots])
    standing = placings.standing().order_by("entry_id", "pk")
    return {p.lot_id: p.shelf for p in standing.select_related("shelf__room")}


def last_shelf(kind: str, **facts: object) -> Shelf | None:
    """Say where the last standing entry of a kind put a lot of such a card; one query."""
    where = {f"lot__card__{name}": value for name, value in facts.items()}
    placings = Placing.objects.filter(entry__kind=kind, **where)
    standing = placings.standing()
    last = standing.select_related("shelf__room").order_by("-entry_id", "-pk").first()
    return last.shelf if last else None


def stock_by_stage() -> list[StageStock]:
    """Add up what is on hand, stage by stage in the order of the work; one query."""
    found = Lot.objects.filter(quantity__gt=0).order_by().values("card__stage")
    sums = found.annotate(
        lots=Count("pk"),
        mass_mg=Sum("quantity", filter=Q(item__dimension=Dimension.MASS), default=0),
        pieces=Sum("quantity", filter=Q(item__dimension=Dimension.COUNT), default=0),
        on_hold=Count("pk", filter=Q(held=True)),
    )
    rows: dict[int, Mapping[str, Any]] = {row["card__stage"]: row for row in sums}
    return [_of_stage(stage, rows.get(stage.value)) for stage in Stage]


def lot_by_code(text: str, known: Sequence[Lot] = ()) -> Lot | None:
    """Find a lot by its code among those read already, else in the book; at most one query."""
    code = tidy(text)
    found = next((lot for lot in known if lot.code == code), None)
    return found or (all_lots().filter(code=code).first() if code else None)


def lots_near(text: str) -> list[str]:
    """Codes of lots that exist and differ from a mistyped code in one sign."""
    codes = Lot.objects.filter(code__in=near(text)).order_by("code")
    return list(codes.values_list("code", flat=True))


def history(lot: Lot) -> QuerySet[Entry]:
    """Every entry that names a lot, newest first."""
    named = Entry.objects.filter(lines__lot=lot) | Entry.objects.filter(marks__lot=lot)
    return named.distinct().order_by("-seq")


def _of_stage(stage: Stage, row: Mapping[str, Any] | None) -> StageStock:
    if row is None:
        return StageStock(stage, 0, 0, 0, 0)
    return StageStock(stage, row["lots"], row["mass_mg"], row["pieces"], row["on_hold"])


def held_lots() -> list[Lot]:
    """Lots on hold that still hold something."""
    return located(all_lots().filter(held=True, quantity__gt=0))


def supplies_on_hand(*uses: str) -> list[Lot]:
    """Supply lots of some uses, oldest first."""
    lots = all_lots().filter(quantity__gt=0, item__supply__use__in=uses)
    return located(lots.order_by("item__name", "made_by_id"))


def oldest_taken(lots: Sequence[Lot], quantity: int) -> dict[int, int]:
    """Share a quantity over lots in the order given, leaving out those on hold."""
    parts, _ = in_turn(quantity, [0 if lot.held else lot.quantity for lot in lots])
    return {lot.pk: part for lot, part in zip(lots, parts, strict=True) if part}
