"""What the book refuses before it writes: one guard a rule, in a fixed order."""

from collections.abc import Container
from datetime import datetime

from django.db.models import Sum

from ledger import errors, working
from ledger.amounts import in_words
from ledger.asked_often import AskedOften
from ledger.drafts import Draft, LineDraft, NewLot
from ledger.models import Charge, CostKind, Dimension, Entry, Line, Lot, Role

_ADDS = (Role.BOUGHT, Role.MADE, Role.BACK, Role.COUNTED)
_NEEDS_QUANTITY = (Role.BOUGHT, Role.BACK, Role.SHRUNK, Role.SOLD)
# The roles that may state a number; elsewhere it would mean nothing, or money from nowhere.
_STATED_BY = {
    "money": (Role.BOUGHT, Role.MADE),
    "basis": (Role.MADE, Role.USED, Role.LOST),
    "given_mg": (Role.USED,),
    "turn": (Role.USED,),
    "pieces": (Role.USED,),
    "turn_mg": (Role.USED,),
    "later_mg": (Role.USED,),
    "worth": (Role.MADE, Role.USED, Role.LOST),
    "planned_loss_ppm": (Role.BOUGHT, Role.MADE),
    "planned_loss_count": (Role.BOUGHT, Role.MADE, Role.USED),
    "closes": (Role.LOST,),
}


def check_draft(draft: Draft) -> None:
    """Refuse a new entry that states what no entry can state."""
    if not draft.lines and not draft.marks:
        raise errors.Malformed("Nothing was stated. Name at least one lot.")
    for line in draft.lines:
        _check_sign(line)
        _check_numbers(line)
        _check_new_lot(line)
        _check_worth(line, draft)
    _check_once(draft)
    _check_outputs(draft)
    _check_parts(draft)
    _check_charges(draft)
    _check_on_hand(draft)
    _check_holds(draft, draft.happened_at)


def check_amendment(root: Entry, draft: Draft) -> None:
    """Refuse differences that would turn an edge round, top a lot up, or draw on a hold."""
    for line in draft.lines:
        _check_stated(line)
        _check_new_lot(line)
        _check_place(root, line)
    _check_once(draft)
    named = set(Line.objects.standing_at(root.seq).values_list("lot_id", flat=True))
    _check_falls(draft, named)
    _check_holds(draft, root.happened_at)


def check_amended(root: Entry) -> None:
    """Refuse, once the differences are written, what the whole entry can no longer state."""
    charges = Charge.objects.standing_at(root.seq).values_list("kind", "lot")
    totals = charges.annotate(Sum("amount")).order_by()
    for kind, _, total in totals:
        if total < 0:
            raise errors.Malformed(
                f"The correction would leave {total} charged for {kind} at entry {root.seq}. "
                "Take off no more than was charged."
            )
    lines = Line.objects.standing_at(root.seq)
    used = lines.filter(role=Role.USED).aggregate(pieces=Sum("quantity"), given=Sum("given_mg"))
    basis = lines.filter(role=Role.MADE).aggregate(total=Sum("basis"))["total"]
    shared = any(total for _, lot, total in totals if lot is None)
    if (shared or any(used.values())) and not basis:
        raise errors.Malformed("Cost has nowhere to go. State what shares it.")


def check_standing(root: Entry) -> None:
    """Refuse to amend what was taken back."""
    if root.is_taken_back:
        raise errors.NotStanding(
            f"Entry {root.seq} ({root.kind}, {root.happened_on}) was taken back already. "
            "Record it anew instead."
        )


def held_sources(draft: Draft) -> list[int]:
    """List the lots on hold that a draft uses: what is made of them is born on hold."""
    used = [
        line.lot.pk for line in draft.lines if line.role == Role.USED and isinstance(line.lot, Lot)
    ]
    return [lot for (lot,) in _held_of(set(used))]


_held_of = AskedOften(lambda lots: Lot.objects.filter(pk__in=lots, held=True).values_list("pk"))


def _check_sign(line: LineDraft) -> None:
    adds = line.role in _ADDS
    right = line.quantity >= 0 if adds else line.quantity <= 0
    if not right or (line.role in _NEEDS_QUANTITY and line.quantity == 0):
        raise errors.Malformed(
            f"{_name(line)}: {line.quantity} cannot be {line.role}. "
            f"State a quantity {'above' if adds else 'below'} zero.",
            _codes(line),
        )


def _check_numbers(line: LineDraft) -> None:
    numbers = line.numbers()
    below = [name for name, value in numbers.items() if name != "quantity" and value < 0]
    if below or line.role == Role.STRANDED:
        raise errors.Malformed(
            f"{_name(line)}: {', '.join(below) or line.role} cannot be stated so. "
            "State numbers of zero or more.",
            _codes(line),
        )
    _check_stated(line)
    if line.given_mg and line.quantity:
        raise errors.Malformed(
            f"{_name(line)}: a pick takes weight, not {-line.quantity} pieces. State zero pieces.",
            _codes(line),
        )
    if line.worth and line.quantity and line.role == Role.USED:
        raise errors.Malformed(
            f"{_name(line)}: a by-product takes its worth, not {-line.quantity} besides. State no "
            "quantity, or no worth.",
            _codes(line),
        )
    if bool(line.turn) != bool(line.pieces) or (line.turn_mg and not line.turn):
        raise errors.Malformed(
            f"{_name(line)}: turn {line.turn} of {line.pieces} pieces cannot be. State which turn "
            "it is and of how many pieces, or neither.",
            _codes(line),
        )
    if (line.role == Role.BACK) != (line.returns is not None):
        raise errors.Malformed(
            f"{_name(line)}: only what was sold comes back. Name the sale it comes back from.",
            _codes(line),
        )


def _check_stated(line: LineDraft) -> None:
    for name, roles in _STATED_BY.items():
        if getattr(line, name) and line.role not in roles:
            raise errors.Malformed(
                f"{_name(line)}: {name} cannot be stated where it is {line.role}. "
                f"State it where it is {' or '.join(roles)}.",
                _codes(line),
            )


def _check_place(root: Entry, line: LineDraft) -> None:
    """An amendment stands where the entry stands: what is used was made before, never there."""
    lot = line.lot
    if not isinstance(lot, Lot):
        return
    if line.role == Role.USED and lot.made_by_id >= root.seq:
        raise errors.Malformed(
            f"{_name(line)} was made at entry {lot.made_by_id} and cannot be used at entry "
            f"{root.seq}. Record what is made of it anew.",
            _codes(line),
        )
    topped_up = line.role in (Role.BOUGHT, Role.MADE) and line.quantity
    if topped_up and lot.made_by_id != root.seq:
        raise errors.Malformed(
            f"{_name(line)} was not made at entry {root.seq} and is never topped up. "
            "Make a new lot.",
            _codes(line),
        )


def _check_new_lot(line: LineDraft) -> None:
    lot = line.lot
    if not isinstance(lot, NewLot):
        return
    if line.role not in (Role.BOUGHT, Role.MADE) and line.role != Role.LOST:
        raise errors.Malformed(f"{_name(line)}: a new lot is bought or made first.")
    if lot.item.dimension == Dimension.COUNT and not lot.unit_mass_mg:
        raise errors.Malformed(f"{_name(line)}: state what one piece weighs.")


def _check_parts(draft: Draft) -> None:
    """A part is of the same kind as the whole that it is split off, in the same entry."""
    used = {
        line.lot.pk: line.lot
        for line in draft.lines
        if isinstance(line.lot, Lot) and line.role == Role.USED
    }
    for line in draft.lines:
        whole = line.lot.part_of if isinstance(line.lot, NewLot) else None
        if whole and (whole.pk not in used or whole.item_id != line.lot.item.pk):
            raise errors.Malformed(
                f"{_name(line)} cannot be a part of lot {whole.code}. Use some of that lot in the "
                "same entry, and make more of the same.",
                [whole.code],
            )


def _check_worth(line: LineDraft, draft: Draft) -> None:
    """A line takes a worth or shares by basis; what is lost and worth something goes somewhere."""
    if line.role == Role.MADE and line.worth and line.basis:
        raise errors.Malformed(
            f"{_name(line)} cannot take its worth and share the rest besides. State one of them.",
            _codes(line),
        )
    if line.role == Role.LOST and line.basis and not line.worth:
        raise errors.Malformed(
            f"{_name(line)}: what is lost is worth nothing, so it shares with nothing by worth. "
            "State what it is worth, or leave out what the rest is worth.",
            _codes(line),
        )
    used = [one.lot for one in draft.lines if one.role == Role.USED and one.worth]
    if line.role == Role.LOST and line.worth and line.lot not in used:
        raise errors.Malformed(
            f"{_name(line)}: what is lost is worth something, but nothing is made of it. Use some "
            "of the same lot at that worth, and make the by-product.",
            _codes(line),
        )


def _check_once(draft: Draft) -> None:
    keys = [
        (id(line.lot) if isinstance(line.lot, NewLot) else -line.lot.pk, str(line.role))
        for line in draft.lines
    ]
    for key, line in zip(keys, draft.lines, strict=True):
        if keys.count(key) > 1:
            raise errors.Malformed(
                f"{_name(line)} is {line.role} twice in one entry. Add the two quantities up.",
                _codes(line),
            )


def _check_outputs(draft: Draft) -> None:
    """Inputs go into new lots only, so that every edge points forward in the order."""
    uses = any(line.role == Role.USED for line in draft.lines)
    made = [line for line in draft.lines if line.role == Role.MADE]
    adding = [*made, *(line for line in draft.lines if line.role == Role.BOUGHT)]
    old = next((line for line in adding if isinstance(line.lot, Lot)), None)
    if old and (uses or old.quantity):
        raise errors.Malformed(
            f"{_name(old)} was made before and is never topped up. Make a new lot of the two.",
            _codes(old),
        )
    if uses and not made:
        raise errors.Malformed("Lots are used, but nothing is made of them. State what is made.")
    shared = uses or any(charge.lot is None for charge in draft.charges)
    if shared and not any(line.basis > 0 for line in made):
        raise errors.Malformed("Cost has nowhere to go. State what shares it.")


def _check_charges(draft: Draft) -> None:
    for charge in draft.charges:
        if charge.amount < 0 or charge.kind not in CostKind.values:
            raise errors.Malformed(
                f"A charge of {charge.amount} for {charge.kind} cannot be. State zero or more."
            )
    _check_falls(draft, {line.lot.pk for line in draft.lines if isinstance(line.lot, Lot)})


def _check_falls(draft: Draft, named: Container[int]) -> None:
    """Refuse a charge that falls on a lot of which the entry says nothing."""
    for charge in draft.charges:
        if charge.lot and charge.lot.pk not in named:
            raise errors.Malformed(
                f"Lot {charge.lot.code}: {charge.kind} falls on it, but the entry does not name "
                "it. Name it in a line.",
                [charge.lot.code],
            )


def _check_on_hand(draft: Draft) -> None:
    """Refuse water loss that would empty a lot: emptying is never water."""
    for line in draft.lines:
        if line.role == Role.SHRUNK and isinstance(line.lot, Lot):
            on_hand = Lot.objects.values_list("quantity", flat=True).get(pk=line.lot.pk)
            if on_hand + line.quantity <= 0:
                there, gone = (
                    in_words(number, line.lot.item.dimension)
                    for number in (on_hand, -line.quantity)
                )
                raise errors.NotEnough(
                    f"{_name(line)} cannot dry away to nothing: {there} on hand, "
                    f"{gone} shrunk. State the rest as lost, with the reason.",
                    _codes(line),
                    entry_seq=0,
                )


def _check_holds(draft: Draft, happened_at: datetime) -> None:
    """Refuse to draw on a hold, but for what happened before it and is told late, with a reason."""
    drawn = [
        (line, line.lot)
        for line in draft.lines
        if line.role in (Role.USED, Role.SOLD) and line.quantity < 0 and isinstance(line.lot, Lot)
    ]
    held = {lot for (lot,) in _held_of({lot.pk for _, lot in drawn})}
    for line, lot in drawn:
        if lot.pk not in held:
            continue
        since = working.held_since(lot.pk)
        if since is None or happened_at >= since or not draft.reason.strip():
            raise errors.OnHold(
                f"{_name(line)} is on hold and may not be {line.role}. Release it with a "
                "reason first; until then it may be moved, weighed, counted, taken back or binned.",
                _codes(line),
                since=since,
            )


def _name(line: LineDraft) -> str:
    lot = line.lot
    return f"Lot {lot.code}" if isinstance(lot, Lot) else f"A new lot of {lot.item.name}"


def _codes(line: LineDraft) -> list[str]:
    return [line.lot.code] if isinstance(line.lot, Lot) else []
