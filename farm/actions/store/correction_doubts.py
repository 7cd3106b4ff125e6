"""What is doubtful in a corrected weight or count of the store."""

from collections.abc import Mapping

from farm.actions.corrections import Asks, Correction, Doubts, total
from farm.actions.store.packing import far_over_doubt
from farm.actions.store.storing import (
    SCALE_MG,
    UNEXPLAINED,
    Before,
    dried_doubt,
    mass_of,
    missing_doubt,
)
from farm.kinds.store import DRY, PACK, WEIGH_AGAIN, Drying, Weighing
from farm.models import Stage
from farm.moisture import Portion
from ledger.models import Role


def _weighing(to: Correction) -> Doubts:
    """Ask where the rest may be, unless the weighing said it."""
    said = Weighing.read(to.entry.particulars)
    before = Before(said.book_mg, said.days, said.band_mg)
    gone_mg = total([*to.draws(Role.SHRUNK), *to.draws(Role.LOST)])
    if gone_mg - before.band_mg > SCALE_MG and to.entry.reason in ("", UNEXPLAINED):
        weight_mg = before.book_mg - gone_mg
        yield missing_doubt(to.doing, to.lot, before=before, weight_mg=weight_mg)


def _drying(to: Correction) -> Doubts:
    draws = to.draws(Role.USED)
    (dried,) = to.draws(Role.MADE)
    fresh = Portion(sum(map(mass_of, draws)), Drying.read(to.entry.particulars).fresh_moisture_ppm)
    yield dried_doubt(to.doing, draws, fresh, dried_mg=dried.quantity)


def _packing(to: Correction) -> Doubts:
    (packs,) = to.draws(Role.MADE)
    product = packs.lot.card.product
    assert product, "packs have a product"
    draws = to.draws(Role.USED, Stage.CROP, Stage.DRIED)
    yield far_over_doubt(product, packs.quantity, draws)


DOUBTS: Mapping[str, Asks] = {WEIGH_AGAIN: _weighing, DRY: _drying, PACK: _packing}
