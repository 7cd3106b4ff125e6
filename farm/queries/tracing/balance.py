"""The balance of a lot: what came in, and where every piece or milligram of it is.

What came in (made or received, and counted up at a sale) is what is still here, was used for
other lots, was sold less what came back, dried away as water, was lost, and is unexplained.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from farm.kinds.store import WEIGH_AGAIN
from farm.models import LotCard, Stage
from farm.queries.tracing.trace_events import Moved
from ledger.amounts import MILLION, largest_remainder
from ledger.models import Dimension, Role

PARTS = ("still here", "used", "sold", "water", "lost", "unexplained")


@dataclass(frozen=True)
class Balance:
    """One lot's balance in its own unit: mg, or pieces where ``counted``.

    ``lost``: by cause. ``unexplained``: missing at weighing again beyond the water that a fridge
    takes. ``counted_up``: sold though the book did not hold it.
    """

    code: str
    name: str
    stage: Stage
    counted: bool
    unit_mass_mg: int | None
    made: int
    counted_up: int
    on_hand: int
    used: int
    sold: int
    water: int
    lost: tuple[tuple[str, int], ...]
    unexplained: int

    @property
    def whole(self) -> int:
        return self.made + self.counted_up

    @property
    def parts(self) -> tuple[int, ...]:
        """As PARTS names them; they add up to the whole."""
        wasted = sum(quantity for _, quantity in self.lost)
        return (self.on_hand, self.used, self.sold, self.water, wasted, self.unexplained)

    @property
    def shares_tenths(self) -> list[int]:
        """Each part in tenths of a percent of the whole; they add up to 1000 (100 %)."""
        return largest_remainder(1000, self.parts) if self.whole > 0 else [0] * len(self.parts)

    @property
    def accounted(self) -> int:
        """What is here, was used, shipped less returns, dried away or thrown away with a cause."""
        return self.whole - self.unexplained

    @property
    def accounted_ppm(self) -> int | None:
        """Accounted for, of what was made, half to even; more than all where it was counted up.

        9.85 kg made; 5.20 sold, 3.95 here, 0.40 thrown away, 0.25 dried: 9.80 of 9.85, 99.49 %.
        """
        return round_ppm(self.accounted, self.made)

    @property
    def not_known(self) -> tuple[str, ...]:
        """Say in words what the numbers do not know."""
        said = {
            "unexplained: missing at weighing again": self.unexplained,
            "counted up: its origin is not known": self.counted_up,
            "water by the usual loss a day, not weighed apart": self.water,
            "lost for a cause nobody knows": dict(self.lost).get("unknown", 0),
        }
        return tuple(words for words, quantity in said.items() if quantity)


def round_ppm(part: int, whole: int) -> int | None:
    """Parts per million, half to even; none of nothing."""
    if not whole:
        return None
    parts, rest = divmod(part * MILLION, whole)
    return parts + (2 * rest > whole or (2 * rest == whole and parts % 2 == 1))


def balances_of(cards: Mapping[int, LotCard], moved: Iterable[Moved]) -> tuple[Balance, ...]:
    """Balance lots by all that moved them, in the order given."""
    sums: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    lost: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for row in moved:
        if row.role != Role.LOST:
            sums[row.lot][row.role] += row.quantity
        elif row.kind == WEIGH_AGAIN:
            sums[row.lot]["unexplained"] -= row.quantity
        else:
            lost[row.lot][_cause(row.kind, row.reason)] -= row.quantity
    return tuple(_balance(card, sums[pk], lost[pk]) for pk, card in cards.items())


def _cause(kind: str, reason: str) -> str:
    """“green mould: on the left” is lost to green mould; spent blocks need no reason."""
    return reason.partition(":")[0].strip() or kind


def _balance(card: LotCard, sums: Mapping[str, int], lost: Mapping[str, int]) -> Balance:
    lot = card.lot
    return Balance(
        code=lot.code,
        name=lot.item.name,
        stage=Stage(card.stage),
        counted=lot.item.dimension == Dimension.COUNT,
        unit_mass_mg=lot.unit_mass_mg,
        made=sums[Role.BOUGHT] + sums[Role.MADE],
        counted_up=sums[Role.COUNTED],
        on_hand=lot.quantity,
        used=-sums[Role.USED],
        sold=-sums[Role.SOLD] - sums[Role.BACK],
        water=-sums[Role.SHRUNK],
        lost=tuple((cause, quantity) for cause, quantity in sorted(lost.items()) if quantity),
        unexplained=sums["unexplained"],
    )
