"""The only writer of the book: ``record`` what happened, ``amend`` it, ``take_back`` it.

An entry is never changed: an amendment adds differences that stand at the amended entry's place,
and a reversal is the amendment that takes everything back. Each call is one transaction under
the lock of the head row; what is refused leaves nothing behind.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import Model, Q
from django.utils import timezone

from ledger import checks, errors, full_pass, guards, sealing, tracing, working
from ledger.asked_often import AskedOften
from ledger.codes import lot_code
from ledger.drafts import NUMBERS, ChargeDraft, Draft, LineDraft, NewLot, canonical, fingerprint
from ledger.models import Charge, Edge, Entry, Head, Item, Line, Lot, Mark, Seal
from ledger.standing import stands_at


@dataclass(frozen=True, slots=True)
class Recorded:
    """An accepted entry. ``lots``: one a line, in the draft's order. ``fresh``: written now."""

    entry: Entry
    lots: tuple[Lot, ...]
    fresh: bool


@transaction.atomic
def record(draft: Draft) -> Recorded:
    """Write what happened at the end of the order.

    The same UUID with the same content returns the first entry (``fresh`` False).
    Raises a ``Refused`` (Malformed, NotEnough, OnHold, Conflict) with nothing written.
    """
    head = lock_head()
    known = _known(draft, None, takes_back=False)
    if known:
        return known
    guards.check_draft(draft)
    return _write(head, draft, None, takes_back=False)


@transaction.atomic
def amend(entry: Entry, draft: Draft) -> Recorded:
    """Add differences to what an entry says; they stand at that entry's place.

    12.4 lb typed as kg at 62.0000, of which 3 kg were sold since: the amendment of -6.776 kg
    makes the sale 33.0725 instead of 15.0000. Later draws may change, facts never do.
    Raises NotEnough when a lot would fall below zero at any place, NotStanding when the entry
    was taken back, and the refusals of ``record``.
    """
    head = lock_head()
    root = entry.amends or entry
    known = _known(draft, root, takes_back=False)
    if known:
        return known
    guards.check_standing(root)
    guards.check_amendment(root, draft)
    return _write(head, draft, root, takes_back=False)


@transaction.atomic
def take_back(entry: Entry, draft: Draft) -> Recorded:
    """Reverse an entry with all its amendments; ``draft`` says when, by whom and why.

    Raises NotEnough when something later needs what is taken back, or stands on a lot made here
    (the labour of a later check would be stranded on an empty lot); its ``dependants`` are the
    entries to take back first, newest first.
    """
    head = lock_head()
    root = entry.amends or entry
    known = _known(draft, root, takes_back=True)
    if known:
        return known
    guards.check_standing(root)
    _refuse_stranding(root)
    opposite = draft.but(lines=_opposite_lines(root), charges=_opposite_charges(root))
    try:
        with transaction.atomic():
            return _write(head, opposite, root, takes_back=True, said=draft)
    except errors.NotEnough as refusal:
        raise errors.NotEnough(
            str(refusal),
            refusal.lots,
            entry_seq=refusal.entry_seq,
            dependants=dependants(root),
        ) from refusal


def lock_head() -> Head:
    """Let nobody else write until the transaction ends; who reads before writing locks first."""
    for row in _locked_head([1]):
        return Head.from_db(connection.alias, _HEAD, row)
    Head.objects.get_or_create(pk=1)  # the book's first entry
    return lock_head()


_HEAD = ("id", "seq", "lots")
_locked_head = AskedOften(
    lambda heads: Head.objects.select_for_update().filter(pk__in=heads).values_list(*_HEAD)
)


def item_named(name: str, dimension: str, alike: str = "") -> Item:
    """Return the item of this name, made on first use."""
    said = {"dimension": dimension, "alike": alike}
    return Item.objects.get_or_create(name=name, defaults=said)[0]


def dependants(entry: Entry) -> list[int]:
    """List the standing entries that need what ``entry`` brought in or sold, newest first."""
    found: set[int] = set()
    places = {entry.place}
    while places:
        lots = Line.objects.standing_at(places).filter(quantity__gt=0).values("lot_id")
        later = (
            Line.objects.filter(Q(lot__in=lots) | stands_at(places, "returns__entry"))
            .filter(entry__place__gt=entry.place)
            .exclude(stands_at(found))
            .values_list("entry__place", flat=True)
        )
        places = set(later) - found
        found |= places
    standing = Entry.objects.filter(pk__in=found).standing()
    return list(standing.order_by("-seq").values_list("seq", flat=True))


@transaction.atomic
def take_over(tables: Sequence[Sequence[Model]]) -> None:
    """Write the rows of another copy of the book into this empty one, work them and check them.

    Nothing is changed, only added, so the triggers stand; the seals show that no fact was.
    Raises Broken at the first truth that does not hold, with nothing written.
    """
    if Entry.objects.exists():
        raise errors.Conflict("This book has entries of its own. Take over into an empty one.")
    for rows in tables:
        for model in {type(row) for row in rows}:
            model._default_manager.bulk_create(rows, batch_size=500)
    _need(checks.seals_hold)  # before anything is worked from facts that may be others
    full_pass.rebuild()
    for check in checks.CHECKS:
        _need(check)


def _need(check: Callable[[], checks.Finding]) -> None:
    finding = check()
    if finding.broken:
        raise errors.Broken(f"It does not hold that {finding.truth}: {finding.broken}.")


# --- writing ---------------------------------------------------------------------------------


def _known(draft: Draft, amends: Entry | None, *, takes_back: bool) -> Recorded | None:
    """Find the entry that this UUID made before; other content under it is a conflict."""
    entry = Entry.objects.filter(uuid=draft.uuid).first()
    if entry is None:
        return None
    if entry.fingerprint != fingerprint(draft, amends, takes_back):
        raise errors.Conflict(
            f"This form was sent before with other content, as entry {entry.seq} "
            f"({entry.kind}), which stands. Look at it, and correct it if it is wrong.",
            [line.lot.code for line in draft.lines if isinstance(line.lot, Lot)],
        )
    lines = entry.lines.select_related("lot").order_by("pk")
    return Recorded(entry, tuple(line.lot for line in lines), fresh=False)


def _write(
    head: Head, draft: Draft, root: Entry | None, *, takes_back: bool, said: Draft | None = None
) -> Recorded:
    """Write the facts, seal them, and work what follows from them.

    What no entry can state is refused before anything is worked from it.
    """
    head.seq += 1
    says = fingerprint(said or draft, root, takes_back)
    entry = _write_entry(head.seq, draft, root, takes_back=takes_back, says=says)
    lots = _write_lines(head, entry, draft.lines)
    Charge.objects.bulk_create(
        Charge(
            entry=entry,
            kind=c.kind,
            amount=c.amount,
            quantity_milli=c.quantity_milli,
            rate=c.rate,
            lot=c.lot,
        )
        for c in draft.charges
    )
    _write_marks(entry, draft, lots)
    head.save()
    Seal.objects.create(entry=entry, digest=sealing.next_digest(entry))
    if root and not takes_back:
        guards.check_amended(root)
    working.rework(entry)
    return Recorded(entry, tuple(lots), fresh=True)


def _write_entry(
    seq: int, draft: Draft, root: Entry | None, *, takes_back: bool, says: str
) -> Entry:
    return Entry.objects.create(
        seq=seq,
        place=root.seq if root else seq,
        kind=draft.kind,
        happened_at=draft.happened_at,
        happened_on=draft.happened_on,
        utc_offset_min=_offset_min(draft.happened_at),
        recorded_at=timezone.now(),
        by=draft.by,
        reason=draft.reason,
        uuid=draft.uuid,
        amends=root,
        takes_back=takes_back,
        particulars=canonical(draft.particulars),
        fingerprint=says,
    )


def _offset_min(when: datetime) -> int:
    return (when.utcoffset() or timedelta()) // timedelta(minutes=1)


def _write_lines(head: Head, entry: Entry, drafts: Sequence[LineDraft]) -> list[Lot]:
    """Write the lines, and the new lots first; a draft may name one new lot on several lines."""
    made: dict[int, Lot] = {}
    lots = []
    for draft in drafts:
        lot = draft.lot
        if isinstance(lot, NewLot):
            if id(lot) not in made:
                head.lots += 1
                made[id(lot)] = Lot.objects.create(
                    code=lot_code(head.lots),
                    item=lot.item,
                    made_by=entry.amends or entry,
                    unit_mass_mg=lot.unit_mass_mg,
                    part_of=lot.part_of,
                )
            lot = made[id(lot)]
        lots.append(lot)
    Line.objects.bulk_create(
        Line(entry=entry, lot=lot, role=draft.role, returns=draft.returns, **draft.numbers())
        for lot, draft in zip(lots, drafts, strict=True)
    )
    return lots


def _write_marks(entry: Entry, draft: Draft, lots: Sequence[Lot]) -> None:
    """Write the holds that the draft states, and those that come of using a lot on hold."""
    marks = [Mark(entry=entry, lot=mark.lot, held=mark.held) for mark in draft.marks]
    sources = guards.held_sources(draft)
    if sources:
        pairs = zip(draft.lines, lots, strict=True)
        born = {lot.pk for line, lot in pairs if isinstance(line.lot, NewLot)}
        if entry.amends:
            known = Edge.objects.filter(entry=entry.place, src__in=sources)
            is_new = set(sources) - set(known.values_list("src_id", flat=True))
            born |= _free_after(entry.place) if is_new else set()
        marks += [Mark(entry=entry, lot_id=lot, held=True) for lot in sorted(born)]
    Mark.objects.bulk_create(marks)


def _free_after(place: int) -> set[int]:
    """All that an entry made, and what was made of that: a correction brings a hold upon it."""
    made = Lot.objects.filter(made_by=place).values_list("pk", flat=True)
    after = Lot.objects.filter(pk__in=tracing.descendants(made), held=False)
    return set(after.values_list("pk", flat=True))


def _refuse_stranding(root: Entry) -> None:
    """Refuse to empty lots made here while later entries, even without quantity, stand on them."""
    later = Line.objects.filter(lot__made_by=root, entry__place__gt=root.seq, entry__amends=None)
    first = later.standing().select_related("entry", "lot").order_by("entry_id", "pk").first()
    if first:
        raise errors.NotEnough(
            f"Lot {first.lot.code} was made at entry {root.seq} ({root.kind}) and entry "
            f"{first.entry_id} ({first.entry.kind}) stands on it. Take that back first.",
            [first.lot.code],
            entry_seq=first.entry_id,
            dependants=dependants(root),
        )


# --- opposites -------------------------------------------------------------------------------


def _opposite_lines(root: Entry) -> tuple[LineDraft, ...]:
    """Negate the sum of all lines that stand at an entry's place."""
    sums: dict[tuple[int, str], dict[str, int]] = {}
    kept: dict[tuple[int, str], Line] = {}
    for line in Line.objects.standing_at(root.seq).select_related("lot", "returns"):
        key = (line.lot_id, line.role)
        kept.setdefault(key, line)
        numbers = sums.setdefault(key, dict.fromkeys(NUMBERS, 0))
        for name in NUMBERS:
            numbers[name] -= getattr(line, name)
    return tuple(
        LineDraft(kept[key].lot, key[1], returns=kept[key].returns, **numbers)
        for key, numbers in sums.items()
    )


def _opposite_charges(root: Entry) -> tuple[ChargeDraft, ...]:
    return tuple(
        ChargeDraft(charge.kind, -charge.amount, -charge.quantity_milli, charge.rate, charge.lot)
        for charge in Charge.objects.standing_at(root.seq).select_related("lot")
    )
