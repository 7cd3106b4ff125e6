"""Check weights as they were recorded, and how full each product must be filled."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from farm.kinds.store import CHECK_WEIGHTS, Weights
from farm.models import Form, LotCard, PackKind, Product, Stage
from farm.net_weight import Judged, Tolerance, fill_for, tolerance
from farm.queries.keeping import keeps_until
from farm.queries.store.water_loss import Kept, WaterLoss, water_losses
from ledger.models import Entry, Line, Lot

NEWEST = 60
USUAL_SPREAD_PPM = 10_000  # a belief: filled by hand to within 1 %; common practice, no source


@dataclass(frozen=True)
class Loss:
    """The water loss a day that is expected of packs, and the days until their last day of sale."""

    rate_ppm: int
    days: int
    source: str


@dataclass(frozen=True)
class Weighing:
    """One record of check weights: its entry, its lot, and what it says."""

    entry: Entry
    lot: Lot
    judged: Judged
    scale: str


@dataclass(frozen=True)
class Filling:
    """How full to fill a product so that it holds what it declares on its last day of sale.

    ``checked``: how many packs of it were weighed; from two on their own spread counts.
    """

    product: Product
    loss: Loss
    spread_mg: int
    checked: int
    fill_mg: int
    tolerance: Tolerance


def weighings(weight_unit: str, lot: Lot | None = None) -> list[Weighing]:
    """The newest check weights that stand, newest first; three queries."""
    rows = Line.objects.filter(entry__kind=CHECK_WEIGHTS, entry__amends=None)
    rows = rows.standing()
    if lot:
        rows = rows.filter(lot=lot)
    rows = rows.select_related("entry", "lot__card__product__species").order_by("-entry_id")
    return [_weighing(row, weight_unit) for row in rows[:NEWEST]]


def fillings(weight_unit: str, only: Product | None = None) -> list[Filling]:
    """How full to fill each product: by its days in the fridge, its loss and its own spread."""
    judged: dict[int, list[Judged]] = {}
    for one in weighings(weight_unit):
        judged.setdefault(one.lot.card.product_id or 0, []).append(one.judged)
    losses = water_losses()[Kept.PACKED]
    products = [only] if only else Product.objects.select_related("species")
    return [
        _filling(one, losses[one.species], judged=judged.get(one.pk, []), weight_unit=weight_unit)
        for one in products
    ]


def filling_of(product: Product, weight_unit: str) -> Filling:
    return fillings(weight_unit, product)[0]


def expected(card: LotCard, day: date) -> Loss:
    """What a lot of packs is expected to lose a day, from a day until its last day of sale."""
    assert card.product and card.stage == Stage.PACKS
    if not loses_water(card.product):
        return Loss(0, 0, "loses none in its pack")
    loss = water_losses()[Kept.PACKED][card.product.species]
    last = keeps_until(card)
    return Loss(loss.rate_ppm, max(0, (last - day).days) if last else 0, loss.source)


def loses_water(product: Product) -> bool:
    """Fresh in an open pack loses as in a crate, the belief; airtight or dried, nothing."""
    return product.form == Form.FRESH and product.pack == PackKind.OPEN


# --- parts -----------------------------------------------------------------------------------


def _weighing(row: Line, weight_unit: str) -> Weighing:
    said = Weights.read(row.entry.particulars)
    nets = tuple(gross - said.tare_mg for gross in said.gross_mg)
    judged = Judged(
        said.declared_mg,
        nets,
        said.rate_ppm,
        said.days,
        tolerance(said.declared_mg, weight_unit),
    )
    return Weighing(row.entry, row.lot, judged, said.scale)


def _filling(
    product: Product, loss: WaterLoss, *, judged: Iterable[Judged], weight_unit: str
) -> Filling:
    """The spread is the widest of the farm's own checks of two packs or more, else the belief."""
    own = [one for one in judged if len(one.nets_mg) > 1]
    believed = product.net_mg * USUAL_SPREAD_PPM // 1_000_000
    spread_mg = max((one.spread_mg for one in own), default=believed)
    rate_ppm, source = loss.rate_ppm, loss.source
    if not loses_water(product):
        rate_ppm, source = 0, "loses none in its pack"
    days = product.keeps_days if rate_ppm else 0
    fill = fill_for(product.net_mg, rate_ppm, days=days, spread_mg=spread_mg)
    checked = sum(len(one.nets_mg) for one in own)
    return Filling(
        product,
        Loss(rate_ppm, days, source),
        spread_mg,
        checked,
        fill,
        tolerance(product.net_mg, weight_unit),
    )
