"""A day at a stall: load it, and settle it when the van is back.

Took 40, brought back 9, 1 cut up as samples: sold 30. What was given away leaves the book in
entries of its own beside the sale; `cashing` keeps what was in the till.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from farm import habits
from farm.actions.common import Doing, Draw, both, need_stage, post
from farm.actions.doubts import too_old_doubt
from farm.actions.hold_refusals import refuse_held
from farm.actions.idempotency import action
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import answered
from farm.actions.selling.cashing import CashCount, write_cash_up
from farm.actions.selling.giving import follow_up, post_given
from farm.actions.selling.pricing import need_price
from farm.actions.selling.selling import Deal, Priced, SoldLine, post_sale, priced
from farm.actions.selling.sharing_out import Counted
from farm.actions.selling.takings import add_hours
from farm.actions.selling.till import check_discount
from farm.kinds.selling import LOAD_STALL, SELLABLE, SETTLE_STALL, Load, Settling
from farm.models import LoadLine, Person, Sale, SellingCost, SellingPlace, StallDay
from farm.queries.sales import loads_of
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed, NotEnough
from ledger.models import Dimension, Lot, Role


@dataclass(frozen=True)
class Besides:
    """What else is said when a day is settled.

    ``given``: by reason, how much of which lots; it was loaded, and neither sold nor brought
    back. ``off_money``: by lot pk, what was taken off its price, all in all, and why. ``by_item``:
    lots whose return was counted with others of the same product, so that for a recall any of
    them may be the one sold. ``cash``: what was in the till, where it was counted.
    """

    given: Mapping[str, Sequence[Draw]] = field(default_factory=dict)
    off_money: Mapping[int, int] = field(default_factory=dict)
    off_why: str = ""
    by_item: Sequence[Lot] = ()
    cash: CashCount | None = None

    @classmethod
    def of(cls, counted: Counted, *, off_why: str = "", cash: CashCount | None = None) -> "Besides":
        return cls(counted.given, counted.off_money, off_why, counted.by_item, cash)

    def given_of(self, lot: int) -> int:
        draws = [draw for several in self.given.values() for draw in several]
        return sum(draw.quantity for draw in draws if draw.lot.pk == lot)


@action
def load_stall(
    doing: Doing,
    *,
    place: SellingPlace,
    day: date,
    lines: Sequence[Draw],
    seller: Person | None = None,
) -> Recorded:
    """Load lots for a stall; nothing is sold yet, so the book's lines carry no quantity.

    The load list is by lot: for a recall every lot loaded and not wholly brought back counts.
    Refuses lots on hold, and more than is on hand and in no other open load; asks about what is
    past its days on the day of the stall. The hours are a selling cost of the place. ``seller``:
    whose stall it is, where that is not who loads.
    """
    refuse_held(doing, [line.lot for line in lines], "loaded")
    for line in lines:
        _check_load(line)
    old = too_old_doubt([line.lot for line in lines], day)
    doing = answered(doing, set_aside_doubt(lines), old)
    recorded = post(
        doing,
        LOAD_STALL,
        [LineDraft(line.lot, Role.COUNTED, 0) for line in lines],
        particulars=Load(
            place=place.pk,
            day=day.isoformat(),
            loaded={line.lot.code: line.quantity for line in lines},
        ),
    )
    if recorded.fresh:
        stall_day = StallDay.objects.create(
            entry=recorded.entry, place=place, day=day, seller=seller
        )
        LoadLine.objects.bulk_create(
            LoadLine(stall_day=stall_day, lot=line.lot, quantity=line.quantity) for line in lines
        )
        add_hours(recorded.entry, doing, place)
    return recorded


@action
def settle_stall(
    doing: Doing,
    *,
    stall_day: StallDay,
    brought_back: Mapping[int, int],
    prices: Mapping[int, int],
    weight_unit: str = "kg",
    besides: Besides | None = None,
) -> Recorded:
    """Say what was brought back; the rest of the load was sold: took 40, brought back 9, sold 31.

    ``brought_back`` and ``prices`` (of a pack, or a ``weight_unit``) by lot pk. A lot not named
    came back with nothing; a price not named is the one in force on the stall's day. The day's fee,
    the share of takings, card fees and the hours are selling costs of the place.
    """
    beside = besides or Besides()
    _check_unsettled(stall_day)
    loaded = list(stall_day.lines.select_related("lot", "lot__item").order_by("pk"))
    deal = Deal(stall_day.place, stall_day=stall_day)
    listed = [
        _sold(stall_day, line, quantity=quantity, prices=prices, weight_unit=weight_unit)
        for line, quantity in _what_was_sold(loaded, brought_back, beside)
    ]
    sold = _less(priced(deal, stall_day.day, listed), beside.off_money, beside.by_item)
    check_discount(doing.by, stall_day, sold)
    recorded = post_sale(
        doing,
        SETTLE_STALL,
        deal,
        lines=sold,
        # Every lot loaded is named, also one that was wholly brought back.
        beside=[LineDraft(line.lot, Role.COUNTED, 0) for line in loaded],
        said=_said(beside),
    )
    if recorded.fresh:
        _add_costs(recorded, doing, stall_day.place)
        _finish(recorded, doing, beside)
    return recorded


def settling_of(stall_day: StallDay) -> Sale | None:
    """Find the standing sale that settled a stall day; one query."""
    sales = Sale.objects.filter(stall_day=stall_day).select_related("entry")
    return sales.standing().first()


# --- loading ---------------------------------------------------------------------------------


def _check_load(line: Draw) -> None:
    need_stage(line.lot, *SELLABLE)
    lot = Lot.objects.select_related("item").get(pk=line.lot.pk)
    if line.quantity <= 0:
        raise Malformed(f"Lot {lot.code}: {line.quantity} cannot be loaded. State how much.")
    if line.quantity > lot.quantity:
        raise NotEnough(
            f"Lot {lot.code}: {_show(lot, line.quantity)} to load, {_show(lot, lot.quantity)} on "
            "hand. Load less, or record what made the rest first.",
            [lot.code],
            entry_seq=0,
        )
    _check_not_loaded(lot, line.quantity)


def _check_not_loaded(lot: Lot, quantity: int) -> None:
    """Refuse what another load holds already: what is on hand is loaded for one place."""
    loads = loads_of(lot)
    free = lot.quantity - sum(load.quantity for load in loads)
    if quantity > free:
        named = ", ".join(
            f"{_show(lot, load.quantity)} loaded for {load.stall_day.place} on "
            f"{habits.day(load.stall_day.day)} (entry {load.stall_day.entry_id})"
            for load in loads
        )
        raise NotEnough(
            f"Lot {lot.code}: {_show(lot, quantity)} to load, {_show(lot, max(0, free))} free: "
            f"{_show(lot, lot.quantity)} on hand, {named}. Load less, or settle that "
            "load or take it back first.",
            [lot.code],
            entry_seq=0,
        )


def _show(lot: Lot, quantity: int) -> str:
    return f"{quantity}" if lot.item.dimension == Dimension.COUNT else both(quantity)


# --- settling --------------------------------------------------------------------------------


def _what_was_sold(
    loaded: Sequence[LoadLine], brought_back: Mapping[int, int], beside: Besides
) -> list[tuple[LoadLine, int]]:
    """Say how much of each loaded lot was sold; lots of which nothing was are left out."""
    _check_loaded(loaded, brought_back, beside)
    sold = []
    for line in loaded:
        back, given = brought_back.get(line.lot_id, 0), beside.given_of(line.lot_id)
        _check_parts(line, back, given)
        if line.quantity > back + given:
            sold.append((line, line.quantity - back - given))
    return sold


def _check_unsettled(stall_day: StallDay) -> None:
    if stall_day.entry.is_taken_back:
        raise Malformed(
            f"The load of {stall_day.place} on {habits.day(stall_day.day)} (entry "
            f"{stall_day.entry_id}) was taken back. Load the stall anew, then settle that."
        )
    settled = settling_of(stall_day)
    if settled:
        raise Malformed(
            f"{stall_day.place} on {habits.day(stall_day.day)} was settled already, by entry "
            f"{settled.entry_id}. Correct that entry, or take it back and settle anew."
        )


def _check_loaded(
    loaded: Sequence[LoadLine], brought_back: Mapping[int, int], beside: Besides
) -> None:
    known = {line.lot_id for line in loaded}
    for lot in Lot.objects.filter(pk__in=set(brought_back) - known):
        raise Malformed(
            f"Lot {lot.code} was not loaded, {brought_back[lot.pk]} brought back. Take it off, or "
            "take it back from the sale that it was sold in.",
            [lot.code],
        )
    for why, draws in beside.given.items():
        for draw in draws:
            if draw.lot.pk not in known:
                raise Malformed(
                    f"Lot {draw.lot.code} was not loaded, {draw.quantity} given away as {why}. "
                    "Take it off, or give it away as its own entry.",
                    [draw.lot.code],
                )


def _check_parts(line: LoadLine, back: int, given: int) -> None:
    """Refuse more brought back, or given away besides, than was loaded of a lot."""
    lot = line.lot
    if not 0 <= back <= line.quantity:
        raise Malformed(
            f"Lot {lot.code}: {_show(lot, line.quantity)} loaded, "
            f"{_show(lot, back)} brought back. State between none and all of it.",
            [lot.code],
        )
    if back + given > line.quantity:
        raise Malformed(
            f"Lot {lot.code}: {_show(lot, line.quantity)} loaded, {_show(lot, back)} brought back "
            f"and {_show(lot, given)} given away. Together they are at most what was loaded.",
            [lot.code],
        )


def _sold(
    stall_day: StallDay,
    line: LoadLine,
    *,
    quantity: int,
    prices: Mapping[int, int],
    weight_unit: str,
) -> SoldLine:
    """Name the price of a line."""
    card, unit_money = need_stage(line.lot, *SELLABLE), prices.get(line.lot_id)
    if unit_money is None:
        listed = need_price(stall_day.place, stall_day.day, card=card)
        unit_money, weight_unit = listed.unit_money, listed.weight_unit
    return SoldLine(line.lot, quantity, unit_money, weight_unit=weight_unit)


def _less(
    sold: Iterable[Priced], off_money: Mapping[int, int], together: Iterable[Lot]
) -> list[SoldLine]:
    """Take off what was let off: that makes it a sum for the whole line.

    Lots of one product that were counted together are one line, so that its net is rounded once.
    """
    counted = {lot.pk for lot in together}
    by_line: dict[tuple[bool, int], list[Priced]] = defaultdict(list)
    for one in sold:
        lot = one.line.lot
        is_one_of = lot.pk in counted
        by_line[is_one_of, lot.item_id if is_one_of else lot.pk].append(one)
    return [line for several in by_line.values() for line in _for_less(several, off_money)]


def _for_less(several: Sequence[Priced], off_money: Mapping[int, int]) -> list[SoldLine]:
    off = sum(off_money.get(one.line.lot.pk, 0) for one in several)
    if not off:
        return [one.line for one in several]
    asked = sum(one.amount.gross for one in several) - off
    quantity = sum(one.line.quantity for one in several)
    return [replace(one.line, whole_money=asked, whole_of=quantity) for one in several]


def _said(beside: Besides) -> Settling:
    """What the entry keeps of it: sealed, and read by whoever traces or adds up discounts."""
    return Settling(
        terms={},
        counted_together=sorted(lot.code for lot in beside.by_item) if beside.by_item else None,
        discount=(beside.off_why or "not said") if any(beside.off_money.values()) else "",
    )


def _add_costs(recorded: Recorded, doing: Doing, place: SellingPlace) -> None:
    if place.day_fee_money:
        SellingCost.objects.create(
            entry=recorded.entry, place=place, what=SellingCost.FEE, amount=place.day_fee_money
        )
    add_hours(recorded.entry, doing, place)


def _finish(recorded: Recorded, doing: Doing, beside: Besides) -> None:
    """Give away what was given, and keep what was in the till; each under a UUID of its own."""
    sale = recorded.entry.sale
    for why, draws in sorted(beside.given.items()):
        post_given(follow_up(doing, why), why, draws, sale=sale)
    if beside.cash:
        write_cash_up(follow_up(doing, "cash"), sale, beside.cash)
