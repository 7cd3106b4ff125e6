"""What is measured of the book: each of ours beside the plain way, the median of several runs."""

import statistics
from datetime import timedelta
from functools import partial
from uuid import uuid4

from django.db import connection, transaction
from django.db.models import Model

from ledger import book, checks, full_pass, tracing
from ledger.drafts import ChargeDraft, Draft, LineDraft
from ledger.models import Entry, Flow, Line, Lot, Seal
from ledger.story import read_story
from tests.bench.farm_years import START, FarmYears
from tests.bench.plain_pass import plain_pass
from tests.bench.timing import median, show, spent

COLUMNS = "lot.id, lot.code, lot.item_id, lot.quantity, lot.materials, lot.paid"


def ratios(years: FarmYears) -> float:
    """Print every ratio; return the seconds of the full pass."""
    finding = checks.figures_equal_the_full_pass()
    assert not finding.broken, finding.broken
    pack, grain = years.lots[-1].pk, years.lines[0].lot_id
    _trace("trace back, from a pack", tracing.BACK, pack, goal=1.5)
    _trace("trace forward, from a supplier lot", tracing.FORWARD, grain, goal=2.2)
    seconds = _full_pass()
    _re_cost(years, seconds)
    _record(years)
    return seconds


def _trace(name: str, statement: str, lot_id: int, *, goal: float) -> None:
    """Compare a trace that shows its lots with fetching those lots by primary key."""
    shown = statement.replace(
        "SELECT id FROM reached",
        f"SELECT {COLUMNS} FROM reached JOIN ledger_lot AS lot ON lot.id = reached.id",
    ).replace("{marks}", "%s")
    rows = _fetch(shown, [lot_id])
    marks = ", ".join(["%s"] * len(rows))
    by_key = f"SELECT {COLUMNS} FROM ledger_lot AS lot WHERE lot.id IN ({marks})"
    ids = [row[0] for row in rows]
    ours = median(lambda: _fetch(shown, [lot_id]), runs=51)
    plain = median(lambda: _fetch(by_key, ids), runs=51)
    show(f"{name} ({len(ids)} lots)", ours, plain, f"at most {goal}x of a fetch by key")


def _fetch(statement: str, values: list[int]) -> list[tuple[int, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return list(cursor.fetchall())


def _full_pass() -> float:
    story = read_story()
    ours = median(lambda: full_pass.work_all(story), runs=5)
    plain = median(lambda: plain_pass(story), runs=5)
    show("full cost pass, rows read", ours, plain, "at most 0.25x of Kahn with Decimal")
    return median(full_pass.work_all, runs=3)


def _re_cost(years: FarmYears, full: float) -> None:
    """Change the charge of block batches that were filled, picked, packed and sold."""
    middle = years.blocks[len(years.blocks) // 3 :: len(years.blocks) // 20][:9]
    entries = [Entry.objects.get(pk=Lot.objects.get(pk=lot).made_by_id) for lot in middle]
    change = (ChargeDraft("paid", 1_234),)
    times = [spent(partial(book.amend, entry, _draft(charges=change))) for entry in entries]
    finding = checks.figures_equal_the_full_pass()
    assert not finding.broken, finding.broken
    show(
        "re-cost of one changed charge",
        statistics.median(times),
        full,
        "50x less than the full pass, read and worked",
    )


def _record(years: FarmYears) -> None:
    """Compare recording sales with inserting the very rows they wrote."""
    stock = Lot.objects.filter(quantity__gte=3, item__name="pack").order_by("-pk")[:30]
    ours, seqs = [], []
    for lot in stock:
        form = _draft(LineDraft(lot, "sold", -1))
        ours.append(spent(partial(book.record, form)))
        seqs.append(Entry.objects.get(uuid=form.uuid).seq)
    plain = [spent(partial(_insert, rows)) for rows in map(_copies, seqs)]
    show("record a sale", statistics.median(ours), statistics.median(plain), "no goal")


def _copies(seq: int) -> list[Model]:
    """Copy the rows that an entry wrote, under new numbers."""
    entry, line = Entry.objects.get(pk=seq), Line.objects.get(entry=seq)
    flow, seal = Flow.objects.get(entry=seq), Seal.objects.get(entry=seq)
    new = seq + 1_000_000
    entry.seq = entry.place = line.entry_id = flow.entry_id = seal.entry_id = new
    entry.uuid, line.pk, flow.pk = uuid4(), None, None
    return [entry, line, flow, seal]


@transaction.atomic
def _insert(rows: list[Model]) -> None:
    for row in rows:
        row.save(force_insert=True)


def _draft(*lines: LineDraft, charges: tuple[ChargeDraft, ...] = ()) -> Draft:
    at = START + timedelta(days=9_999)
    return Draft("bench", at, at.date(), 1, uuid4(), lines, charges)
