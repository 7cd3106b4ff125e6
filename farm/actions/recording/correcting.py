"""Put mistakes right: take an entry back, or correct one number of it. Nothing is erased.

The money beside a sale follows: every line of the book that changes a sale gets a SaleLine with
the difference, and every selling cost a row with the difference, so that sums by standing money
are right.
"""

from dataclasses import asdict, dataclass, replace
from uuid import uuid5

from django.db import transaction
from django.db.models import Sum

from farm import habits
from farm.actions.common import Doing, amount_words, draft
from farm.actions.corrections import Correction
from farm.actions.growing.corrected_picks import check_something_is_left, weights_that_follow
from farm.actions.growing.scrap import by_products_that_follow
from farm.actions.idempotency import action
from farm.actions.questions import answered
from farm.actions.recording.correction_doubts import correction_doubts
from farm.actions.selling.pricing import NOTHING, Amount, Terms
from farm.actions.selling.stalls import settling_of
from farm.actions.selling.takings import (
    add_sale_line,
    add_share_of_takings,
    money_of,
    standing_lines,
    to_give_back,
)
from farm.actions.tracing.holding import check_may_release
from farm.kinds import recording
from farm.kinds.recording import CORRECT, UNDO
from farm.kinds.selling import SaleTerms
from farm.kinds.tracing import HOLD
from farm.models import LoadLine, Recall, Sale, SaleLine, SellingCost, StallDay
from ledger import book
from ledger.book import Recorded
from ledger.drafts import LineDraft
from ledger.errors import Malformed, NotEnough
from ledger.models import Entry, Line, Lot, Role


@action
def undo(doing: Doing, entry: Entry) -> Recorded:
    """Take an entry back with its corrections: lots, costs, edges and money are as before.

    Refuses (NotEnough) when something later needs what it brought in; ``dependants`` are then
    the entries to take back first, newest first, as `undo_with_dependants` does.
    """
    root = _root(entry)
    _check_not_settled(root)
    _check_nothing_given(root)
    if root.kind == HOLD:
        _check_no_recall(root)
        check_may_release(doing, [mark.lot for mark in root.marks.select_related("lot")])
    recorded = book.take_back(root, draft(doing, UNDO, []))
    if recorded.fresh:
        _give_money_back(root, recorded.entry)
        _give_costs_back(root, recorded.entry)
    return recorded


@transaction.atomic
def undo_with_dependants(doing: Doing, entry: Entry) -> list[Recorded]:
    """Take an entry back and before it, newest first, whatever stands on it.

    Each dependant's UUID is made of the form's, so that sending it twice has one effect.
    """
    try:
        with transaction.atomic():
            return [undo(doing, entry)]
    except NotEnough as refusal:
        if not refusal.dependants:
            raise
        later = Entry.objects.filter(pk__in=refusal.dependants).order_by("-seq")
        undone = [undo(_follow_up(doing, one), one) for one in later]
    return [*undone, undo(doing, entry)]


@action
def correct_quantity(
    doing: Doing,
    entry: Entry,
    *,
    lot: Lot,
    role: str,
    right_quantity: int,
    right_money: int | None = None,
) -> Recorded:
    """Say the right quantity (without sign) of one line; the difference stands at its place.

    Of a pick's block lot it is the weight that the lot gave. What the entry says of other lots
    stays, but for a pick, whose blocks go on giving what was picked (`weights_that_follow`), and
    for what was lost and is worth something still (`by_products_that_follow`).
    ``right_money``: what was paid for a bought lot, or what was asked for the line of a sale.
    Without it what was paid stays, and a sale's money is worked anew from the price and terms
    asked, rounded as in the sale: 31 packs at 4.50 corrected to 30 are 135.00, so -4.50. What
    came back follows the corrected price. Asks what recording the right number would have asked.
    12.4 lb typed as kg is corrected to 5.624 kg, and later
    sales carry more of the cost.
    """
    root = _root(entry)
    now = _Standing.read(root, lot, role)
    difference = now.difference(lot, role, right_quantity=right_quantity, right_money=right_money)
    if right_money is None and not any(difference.numbers().values()):
        words = amount_words(right_quantity, lot.item.dimension)
        raise Malformed(
            f"Lot {lot.code}: entry {root.seq} says {words} already. State what is right.",
            [lot.code],
        )
    if not right_quantity:
        check_something_is_left(root, lot, role)
    following = [
        *weights_that_follow(root, lot, role, right_mg=right_quantity),
        *by_products_that_follow(root, lot, role, right_quantity=right_quantity),
    ]
    right = Correction(doing, root, lot, role, quantity=right_quantity, money=right_money)
    doing = answered(doing, *correction_doubts(right))
    said = recording.Correction(right_quantity=right_quantity, right_money=right_money)
    recorded = book.amend(root, draft(doing, CORRECT, [difference, *following], said=said))
    if recorded.fresh and role == Role.SOLD:
        sold = _follow_in_money(
            root,
            recorded.entry.lines.get(),
            right_quantity=right_quantity,
            right_money=right_money,
        )
        _follow_in_returns(doing, sold)
    return recorded


# --- taking back -----------------------------------------------------------------------------


def _root(entry: Entry) -> Entry:
    """Return the entry itself; a correction is not taken back or corrected for itself."""
    if entry.amends and not entry.takes_back:
        raise Malformed(
            f"Entry {entry.seq} is a correction of entry {entry.amends_id} "
            f"({entry.amends.kind}). Correct that entry again, or undo it."
        )
    return entry


def _check_no_recall(entry: Entry) -> None:
    """Refuse to take back the hold that a recall was opened with."""
    recall = Recall.objects.filter(entry=entry).first()
    if recall:
        raise Malformed(
            f"Recall {recall.number} was opened with this hold. Take lots that are sound out of "
            "the recall, with the reason."
        )


def _check_not_settled(entry: Entry) -> None:
    """Refuse to take a load back while what was sold from it stands."""
    stall_day = StallDay.objects.filter(entry=entry).select_related("place").first()
    settled = settling_of(stall_day) if stall_day else None
    if stall_day and settled:
        lots = list(stall_day.lines.values_list("lot__code", flat=True))
        raise NotEnough(
            f"Lot {', '.join(lots)}: {stall_day.place} on {habits.day(stall_day.day)} was settled "
            f"by entry {settled.entry_id}. Take that entry back first, then this load.",
            lots,
            entry_seq=settled.entry_id,
            dependants=[*_standing_on(settled), settled.entry_id],
        )


def _check_nothing_given(entry: Entry) -> None:
    """Refuse to take a settling back while what was given away that day stands: it is one day."""
    sale = Sale.objects.filter(entry=entry, stall_day__isnull=False).first()
    given = _given_with(sale) if sale else []
    if sale and given:
        lots = list(Line.objects.filter(entry__in=given).values_list("lot__code", flat=True))
        words = ", ".join(f"{one.given_away.get_why_display()} (entry {one.seq})" for one in given)
        raise NotEnough(
            f"Lot {', '.join(lots)}: that day's {words} stand. Take the whole day back.",
            lots,
            entry_seq=given[0].seq,
            dependants=_standing_on(sale),
        )


def _given_with(sale: Sale) -> list[Entry]:
    """What was given away with the settling of a stall day, and stands; the newest first."""
    entries = Entry.objects.filter(given_away__sale=sale).standing()
    return list(entries.select_related("given_away").order_by("-seq"))


def _standing_on(settled: Sale) -> list[int]:
    """What is taken back before the settling of a stall day: what came back, what was given."""
    given = {one.seq for one in _given_with(settled)}
    return sorted(given | set(book.dependants(settled.entry)), reverse=True)


def _follow_up(doing: Doing, entry: Entry) -> Doing:
    return replace(doing, uuid=uuid5(doing.uuid, str(entry.seq)))


def _give_money_back(root: Entry, reversal: Entry) -> None:
    """Write the opposite of all money that stands at an entry, one row a line of the book."""
    for line in reversal.lines.all():
        stood = SaleLine.objects.standing_at(root.seq, "line__entry")
        rows = stood.filter(line__lot=line.lot_id, line__role=line.role)
        first = rows.select_related("sale", "product").order_by("pk").first()
        if first:
            add_sale_line(first.sale, line, NOTHING.minus(money_of(rows)), like=first)


def _give_costs_back(root: Entry, reversal: Entry) -> None:
    costs = SellingCost.objects.standing_at(root.seq).order_by()
    sums = costs.values_list("place_id", "what", "own").annotate(Sum("amount"), Sum("minutes"))
    for place, what, own, amount, minutes in sums:
        SellingCost.objects.create(
            entry=reversal, place_id=place, what=what, own=own, amount=-amount, minutes=-minutes
        )


# --- correcting ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Standing:
    """What an entry, as corrected so far, says of one lot in one role."""

    quantity: int
    money: int
    basis: int
    given_mg: int
    worth: int

    @classmethod
    def read(cls, root: Entry, lot: Lot, role: str) -> "_Standing":
        names = ("quantity", "money", "basis", "given_mg", "worth")
        lines = Line.objects.standing_at(root.seq).filter(lot=lot, role=role)
        sums = lines.aggregate(*(Sum(name) for name in names))
        if sums["quantity__sum"] is None:
            raise Malformed(
                f"Lot {lot.code} was not {role} at entry {root.seq} ({root.kind}). Choose one of "
                "its lots.",
                [lot.code],
            )
        return cls(*(sums[f"{name}__sum"] for name in names))

    def difference(
        self, lot: Lot, role: str, *, right_quantity: int, right_money: int | None
    ) -> LineDraft:
        """State what is to be added so that the line says what is right."""
        if right_quantity < 0:
            raise Malformed(
                f"Lot {lot.code}: {right_quantity} is below zero. State what is right without a "
                "minus.",
                [lot.code],
            )
        if self.given_mg:
            return LineDraft(lot, role, 0, given_mg=right_quantity - self.given_mg)
        added = (-right_quantity if role in _TAKES else right_quantity) - self.quantity
        paid = right_money is not None and role == Role.BOUGHT
        return LineDraft(
            lot,
            role,
            added,
            money=(right_money or 0) - self.money if paid else 0,
            # A lot that shares by its quantity, or by what that is worth, goes on doing so.
            basis=self._follows(self.basis, added) if role == Role.MADE else 0,
            worth=self._follows(self.worth, added) if role in (Role.MADE, Role.LOST) else 0,
        )

    def _follows(self, number: int, added: int) -> int:
        return added * number // self.quantity if number else 0


_TAKES = (Role.USED, Role.SOLD, Role.LOST, Role.SHRUNK)


def _follow_in_money(
    root: Entry, line: Line, *, right_quantity: int, right_money: int | None
) -> Line:
    """Write what a corrected sale line comes to now, less what it came to before."""
    sold = Line.objects.select_related("entry", "lot").get(
        entry=root, lot=line.lot_id, role=Role.SOLD
    )
    rows = standing_lines(sold)
    first = rows.select_related("sale__place", "product", "line__entry").order_by("pk").first()
    assert first, "every sold line states its money"
    _check_load(first.sale, sold.lot, right_quantity)
    terms = _terms_of(root)[sold.lot.code]
    if right_money is not None:
        amount = terms.split(right_money).minus(money_of(rows))
    else:
        amount = _difference(terms, first, line, right=terms.of(right_quantity))
    add_sale_line(first.sale, line, amount, like=first)
    add_share_of_takings(line.entry, first.sale.place, amount.gross)
    return sold


def _terms_of(root: Entry) -> dict[str, Terms]:
    terms = SaleTerms.read(root.particulars).terms
    return {code: Terms(**asdict(said)) for code, said in terms.items()}


def _difference(terms: Terms, first: SaleLine, line: Line, *, right: Amount) -> Amount:
    """Say what a corrected weight makes of the money, ``right`` where the lot stands alone.

    Lots that share a line come together to what its terms say, and go on doing so; unless another
    sum was stated for one of them, and each stands alone.
    """
    root = first.line.entry
    alike = [code for code, said in _terms_of(root).items() if said == terms]
    rows = SaleLine.objects.standing_at(root.seq, "line__entry").filter(line__role=Role.SOLD)
    own = money_of(rows.filter(line__lot=line.lot_id))
    rows = rows.filter(product=first.product, line__lot__item=line.lot.item)
    rows = rows.filter(line__lot__code__in=alike)
    sold = -(rows.aggregate(total=Sum("line__quantity"))["total"] or 0)
    shared = money_of(rows)
    if shared != terms.of(sold):
        return right.minus(own)
    return terms.of(sold - line.quantity).minus(shared)


def _follow_in_returns(doing: Doing, sold: Line) -> None:
    """Let what came back give back its part of the corrected price; all back is all the money."""
    first = standing_lines(sold).select_related("sale__place", "product").order_by("pk")[0]
    for entry, amount in to_give_back(sold):
        if amount == NOTHING:
            continue
        named = LineDraft(sold.lot, Role.BACK, 0, returns=sold)
        fix = book.amend(entry, draft(_follow_up(doing, entry), CORRECT, [named])).entry
        add_sale_line(first.sale, fix.lines.get(), amount, like=first)
        add_share_of_takings(fix, first.sale.place, amount.gross)


def _check_load(sale: Sale, lot: Lot, right_quantity: int) -> None:
    """Refuse that a stall sold more of a lot than was loaded: a recall goes by the load."""
    loaded = LoadLine.objects.filter(stall_day=sale.stall_day, lot=lot).first()
    if loaded and right_quantity > loaded.quantity:
        there, sold = (
            amount_words(amount, lot.item.dimension) for amount in (loaded.quantity, right_quantity)
        )
        raise Malformed(
            f"Lot {lot.code}: {there} loaded, {sold} sold. Take the settling and the load back "
            "and load anew, or record the rest as its own sale.",
            [lot.code],
        )
