"""What is doubtful in the corrected price of what was sold."""

from collections.abc import Mapping

from farm.actions.corrections import Asks, Correction, Doubts
from farm.actions.doubts import sale_price_doubt
from farm.kinds.selling import SELL, SETTLE_STALL
from farm.queries.selling.prices import listed_price
from farm.units import MG_PER_UNIT
from ledger.models import Dimension, Role


def _sale(to: Correction) -> Doubts:
    """Hold what was asked for the whole line against the price that was in force."""
    sale = to.entry.sale
    listed = listed_price(
        sale.place, to.entry.happened_on, customer=sale.customer, what=to.lot.card.goods
    )
    if to.role == Role.SOLD and to.money is not None and to.quantity and listed:
        is_counted = to.lot.item.dimension == Dimension.COUNT
        per = 1 if is_counted else MG_PER_UNIT[listed.weight_unit]
        yield sale_price_doubt(to.lot, to.money * per // to.quantity, listed=listed)


DOUBTS: Mapping[str, Asks] = {SELL: _sale, SETTLE_STALL: _sale}
