"""Look at spawn and blocks while they grow: how far, how many lost, and to what."""

from dataclasses import replace
from typing import NamedTuple

from farm.actions.common import Doing, card, labour, need_stage, post, put
from farm.actions.growing.scrap import Scrap, scrapped
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.actions.store.count_doubts import CheckCount, loss_doubt, most_in_lot, uncounted_doubt
from farm.kinds.growing import CHECK, Checked
from farm.models import LotCard, Placing, Shelf, Stage
from farm.queries.growing.by_products import by_product_way
from ledger.amounts import rate_of
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Line, Lot, Role

CAUSES = (
    "green mould",
    "wet spot / sour",
    "other mould",
    "burst bag",
    "dried out",
    "pests",
    "old",
    "unsold",
    "dropped",
    "unknown",
)
_COPIED = ("species", "strain", "recipe", "in_jars", "generation", "transfers")


class _Seen(NamedTuple):
    """A lot in what a check counts: blocks, or bags of spawn. ``unit``: one in the lot's own."""

    card: LotCard
    unit: int
    on_hand: int

    def quantity(self, count: int) -> int:
        """So many blocks or bags in the lot's own unit; all of them are all that is there."""
        lot = self.card.lot
        return lot.quantity if count == self.on_hand else min(count * self.unit, lot.quantity)


@action
def check(
    doing: Doing,
    *,
    lot: Lot,
    colonised_percent: int,
    lost: int = 0,
    passed: int | None = None,
    scrap: Scrap | None = None,
) -> Recorded:
    """Note how far a lot has grown through, take out what was lost, and charge the labour.

    Counts are blocks, or bags of grain spawn (break and shake). With ``passed`` it is an
    inspection: where some were lost or left unchecked, the checked part becomes a lot of its own,
    what is lost beyond plan leaves at the cost sunk so far, and the planned loss falls on the
    passed only. The cause leads the reason: “green mould: at the seal”.
    40 blocks, 18 passed and 2 lost: a new lot of 18, and 20 unchecked.
    ``scrap``: what the lost ones are worth, where they still bring something. They become a lot of
    their own: the part of those planned to be lost lowers what stays or shares with it, the part
    of those beyond plan lowers their loss.
    """
    seen = _see(lot)
    _refuse_nonsense(doing, seen, colonised_percent, lost=lost, passed=passed)
    splits = passed is not None and (passed + lost < seen.on_hand or bool(passed and lost))
    checked = (passed or 0) + lost if splits else seen.on_hand
    counted = CheckCount(lot.code, seen.on_hand, lost, passed)
    doing = answered(doing, loss_doubt(counted, checked), uncounted_doubt(counted))
    charges = labour(doing, CHECK, checked)
    if scrap:
        _refuse_scrap(seen, lost, splits=splits)
        lines = scrapped(seen.card, lost, scrap, way=by_product_way(doing.day))
        charges = tuple(replace(charge, lot=seen.card.lot) for charge in charges)
    else:
        lines = _split(seen, checked, lost) if splits else _whole(seen, lost)
    recorded = post(
        doing,
        CHECK,
        lines,
        charges=charges,
        particulars=Checked(colonised_percent=colonised_percent, lost=lost, checked=checked),
    )
    if recorded.fresh and splits:
        _write_card(seen, recorded, passed or 0)
    if recorded.fresh and scrap:
        card(recorded.lots[-1], Stage.SPENT, species=seen.card.species, strain=seen.card.strain)
    return recorded


def _see(lot: Lot) -> _Seen:
    found = need_stage(lot, Stage.SPAWN, Stage.BLOCKS)
    now = found.lot
    unit = 1
    if found.stage == Stage.SPAWN:
        unit = max(_made_line(now).quantity // (found.bags or 1), 1)
    # A spawn lot's bags are counted by weight, to the nearest bag; what is there is at least one.
    on_hand = max((now.quantity + unit // 2) // unit, 1) if now.quantity else 0
    return _Seen(found, unit, on_hand)


def _whole(seen: _Seen, lost: int) -> list[LineDraft]:
    lot = seen.card.lot
    lines = [LineDraft(lot, Role.MADE, 0, basis=1)]
    if lost:
        lines.append(LineDraft(lot, Role.LOST, -seen.quantity(lost)))
    return lines


def _refuse_scrap(seen: _Seen, lost: int, *, splits: bool) -> None:
    """Scrap is of lost blocks that were seen on the way."""
    code = seen.card.lot.code
    if not lost or seen.card.stage != Stage.BLOCKS or splits:
        raise Malformed(
            f"Lot {code}: {lost} lost are worth something only as blocks that were noticed on the "
            "way. Count lost blocks, leave blank how many passed, and check the rest apart.",
            [code],
        )


def _split(seen: _Seen, checked: int, lost: int) -> list[LineDraft]:
    """Use the checked part up into a new lot, which takes the lost out again in the same entry."""
    lot = seen.card.lot
    made = _made_line(lot)
    quantity = seen.quantity(checked)
    new = NewLot(lot.item, unit_mass_mg=lot.unit_mass_mg, part_of=lot)
    plan = rate_of(made.quantity, made.planned_loss_ppm) + made.planned_loss_count
    share = plan * quantity // made.quantity // seen.unit * seen.unit
    lines = [
        LineDraft(lot, Role.USED, -quantity, planned_loss_count=share),
        LineDraft(new, Role.MADE, quantity, basis=quantity, planned_loss_count=share),
    ]
    if lost:
        lines.append(LineDraft(new, Role.LOST, -min(lost * seen.unit, quantity)))
    return lines


def _write_card(seen: _Seen, recorded: Recorded, passed: int) -> None:
    """Copy the card to the part split off; it stays on the shelf where it stood."""
    copied = {name: getattr(seen.card, name) for name in _COPIED}
    bags = passed if seen.card.stage == Stage.SPAWN else None
    card(recorded.lots[1], Stage(seen.card.stage), bags=bags, **copied)
    put(recorded.entry, recorded.lots[1], _shelf_of(seen.card.lot))


def _made_line(lot: Lot) -> Line:
    return Line.objects.get(lot=lot, role=Role.MADE, entry=lot.made_by_id)


def _shelf_of(lot: Lot) -> Shelf | None:
    placings = Placing.objects.filter(lot=lot).standing()
    last = placings.select_related("shelf__room").order_by("-entry_id").first()
    return last.shelf if last else None


def _refuse_nonsense(
    doing: Doing, seen: _Seen, percent: int, *, lost: int, passed: int | None
) -> None:
    code = seen.card.lot.code
    if not 0 <= percent <= 100:
        raise Malformed(f"Lot {code}: {percent} % grown through cannot be. State 0 to 100.", [code])
    if passed is not None and passed + lost == 0:
        raise Malformed(f"Lot {code}: 0 passed and 0 lost. Count at least one, or none.", [code])
    if lost < 0 or (passed or 0) < 0 or not seen.on_hand or (passed or 0) + lost > seen.on_hand:
        raise Malformed(
            f"Lot {code} has {seen.on_hand} on hand; {passed or 0} passed and {lost} lost do not "
            f"fit into them.{most_in_lot(CheckCount(code, seen.on_hand, lost, passed))} Count "
            f"again, or correct entry {seen.card.lot.made_by_id}, which made the lot.",
            [code],
        )
    if lost and doing.reason.partition(":")[0] not in CAUSES:
        raise Malformed(
            f"Lot {code}: {lost} lost to “{doing.reason}”. Name one of: {', '.join(CAUSES)}.",
            [code],
        )
