"""One entry of the book: what it says, as written and as corrected; undo and correct it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.html import format_html
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from farm.actions.common import Doing
from farm.actions.recording.correcting import correct_quantity, undo, undo_with_dependants
from farm.kinds import kind_named
from farm.kinds.growing import STERILISER_RUN
from farm.models import Person, Sale, SaleLine, SellingCost
from farm.pages import retrying, visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, sees_stall_prices
from farm.pages.asking_form import UndoForm
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.frame import show
from farm.pages.recording.correcting_forms import Before, CorrectForm
from farm.pages.recording.particulars import Stated, stated
from farm.pages.recording.refilled_forms import again
from farm.pages.records.photos import Beside, beside
from farm.pages.starting.first_hour import StepRow, row_after
from farm.pages.ways_out import WayOn
from farm.queries import entries as query
from farm.queries.accounts.invoices import Papers, papers_of
from farm.queries.entries import EntryRow, Standing
from farm.queries.growing.loss_ways import loss_way_of
from farm.queries.months.closings import late_for
from farm.queries.sales import SaleNow, asked_for, costs_of, money_of, sale_now, sale_of
from farm.reports.growing.loss_words import loss_words
from farm.templatetags.farm_format import quantity_now
from ledger.errors import NotEnough, Refused
from ledger.models import Entry, Lot, Role

# What became of a lot that an entry names without any quantity, where the action's own word for
# what is done does not say it.
WRITE = (Right.RECORD, Right.SELL)


@dataclass(frozen=True)
class EntryPage:
    """``root``: the entry that this one amends. ``stated``: particulars in words.

    ``sale``: the sale that it recorded or changed. ``sold``: what its own sale comes to now;
    ``wrote``: of any other entry, the money that it wrote to a sale.

    ``first``: what follows it in the first hour of a new farm.
    """

    entry: Entry
    row: EntryRow
    lines: list[Standing]
    named_as: str
    marked: list[Lot]
    stated: list[Stated]
    amendments: list[EntryRow]
    root: Entry | None
    sale: Sale | None
    sold: SaleNow | None
    wrote: list[SaleLine]
    costs: list[SellingCost]
    undo: UndoForm
    may_undo: bool
    has_readings: bool
    paid: bool
    loss: str
    deed: Deed | None
    late_for: str
    papers: Papers | None
    beside: Beside
    first: StepRow | None
    again: WayOn | None


@dataclass(frozen=True)
class DependantsPage:
    entry: Entry
    refusal: str
    dependants: list[EntryRow]
    undo: UndoForm


@dataclass(frozen=True)
class CorrectPage:
    entry: Entry
    line: Standing
    follows: str
    form: CorrectForm


@page(Right.SEE_LOTS)
def entry(request: PageRequest, seq: int) -> HttpResponse:
    rows = visible_rows.entries(request.person, query.entries().select_related("amends"))
    found = get_or_refuse(request, rows, Right.SEE_LOTS, pk=seq)
    sees_costs = may(request.person, Right.SEE_COSTS)
    lines = query.standing(found)
    row, *amendments = query.rows_of([found, *query.amendments_of(found)])
    sale, sees_prices = sale_of(found), sees_stall_prices(request.person)
    is_own = sale is not None and sale.entry_id == found.pk
    shown = EntryPage(
        entry=found,
        row=row,
        lines=lines,
        named_as=named_as(found.amends or found),
        marked=[] if lines else query.marked_by(found),
        stated=stated(request, found),
        amendments=amendments,
        root=found.amends,
        sale=sale,
        sold=sale_now(sale) if sale and is_own and sees_prices else None,
        wrote=money_of(found) if sale and sees_prices and not is_own else [],
        costs=costs_of(found) if sees_costs else [],
        undo=UndoForm(initial={"uuid": uuid4()}),
        may_undo=writes(request.person) and is_open(found),
        has_readings=found.kind == STERILISER_RUN,
        loss=loss_of(request, found) if sees_costs else "",
        paid=sees_costs and any(line.money_now or line.money_written for line in lines),
        deed=deed_of(found),
        late_for=late_for(found),
        papers=papers_of(found) if may(request.person, Right.SEE_ORDERS) else None,
        beside=beside(request, found),
        first=row_after(found) if may(request.person, Right.CHANGE_FARM) else None,
        again=way_back(request, found),
    )
    return show(request, "farm/entries/entry.html", shown)


@require_POST
@page(Right.RECORD, Right.SELL)
def undo_entry(request: PageRequest, seq: int) -> HttpResponse:
    """Take an entry back; where others stand on it, show them and offer to take all back."""
    rows = visible_rows.entries(request.person, query.entries())
    found = get_or_refuse(request, rows, *WRITE, pk=seq)
    form = UndoForm(request.POST)
    if not form.is_valid():
        return redirect("entry", seq)
    doing = doing_now(request, form.cleaned_data)
    try:
        if "all" in request.POST:
            touched = [done.entry for done in undo_with_dependants(doing, found)]
        else:
            touched = [undo(doing, found).entry]
    except NotEnough as refusal:
        return show_dependants(request, found, refusal)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("entry", seq)
    said = f"Entry {seq} ({found.kind}) is taken back."
    if len(touched) > 1:
        said += f" With it {len(touched) - 1} that stood on it."
    messages.success(request, said)
    tell_retried(request, touched)
    return redirect("entry", seq)


@page(Right.RECORD, Right.SELL)
def correct(request: PageRequest, seq: int) -> HttpResponse:
    """State the right quantity of one line; the difference is added, nothing is erased.

    ``was`` and ``money`` in the address: what it said before, to be corrected back to.
    """
    rows = visible_rows.entries(request.person, query.entries())
    found = get_or_refuse(request, rows, *WRITE, pk=seq)
    line = chosen_line(request, found)
    if line is None:
        messages.error(request, f"Entry {seq} has no such line to correct.")
        return redirect("entry", seq)
    data = request.POST if request.method == "POST" else None
    sees_money = may(request.person, Right.SEE_COSTS)
    form = CorrectForm(
        data, farm=request.farm, line=line, sees_money=sees_money, before=Before.read(request.GET)
    )
    if data is not None and form.is_valid():
        money = money_before(found, line) if form.cleaned_data.get("right_money") else None
        doing = replace(doing_now(request, form.cleaned_data), sure=form.is_sure())
        done = form.taken(
            request.person,
            lambda: correct_quantity(
                doing,
                found,
                lot=line.lot,
                role=line.role,
                right_quantity=form.cleaned_data["right_quantity"],
                right_money=form.cleaned_data.get("right_money"),
            ),
        )
        if done:
            said = said_of_correction(request, done.entry, line, money=money)
            messages.success(request, said)
            tell_retried(request, [done.entry])
            return redirect("entry", seq)
    return show(
        request,
        "farm/entries/correct.html",
        CorrectPage(found, line, query.what_follows(found, line), form),
    )


def loss_of(request: PageRequest, found: Entry) -> str:
    loss = loss_way_of(found)
    return loss_words(loss, request.farm.currency) if loss else ""


def money_before(found: Entry, line: Standing) -> int | None:
    """What was paid for a line, or asked for it, before it is corrected."""
    return line.money_now if line.role == Role.BOUGHT else asked_for(found, line.lot)


def said_of_correction(
    request: PageRequest, done: Entry, line: Standing, *, money: int | None
) -> str:
    """Say what a line says now and what it said, and lead to correcting it back."""
    root = done.amends
    assert root
    lines = query.standing(root)
    now = next(one for one in lines if (one.lot, one.role) == (line.lot, line.role))
    said, was = (quantity_now(one, request.farm) for one in (now, line))
    words = f"Entry {root.seq} is corrected: lot {line.lot.code}, {said}; it said {was}."
    if not now.can_be_corrected:
        return words
    before = Before(abs(line.now) or line.gave_now_mg, money)
    query_string = urlencode({"lot": line.lot.code, "role": line.role} | before.said())
    return format_html('{} <a href="{}?{}">Correct it back</a>', words, request.path, query_string)


def doing_now(request: PageRequest, said: dict[str, Any]) -> Doing:
    now = timezone.now()
    return Doing(by=request.person, happened_at=now, uuid=said["uuid"], reason=said["reason"])


def show_dependants(request: PageRequest, found: Entry, refusal: NotEnough) -> HttpResponse:
    dependants = query.entries().filter(pk__in=refusal.dependants)
    shown = DependantsPage(
        entry=found,
        refusal=str(refusal),
        dependants=query.rows_of(dependants),
        undo=UndoForm(initial={"uuid": uuid4(), "reason": request.POST.get("reason", "")}),
    )
    return show(request, "farm/entries/dependants.html", shown, status=409)


def chosen_line(request: PageRequest, found: Entry) -> Standing | None:
    if not is_open(found):
        return None
    wanted = (request.GET.get("lot"), request.GET.get("role"))
    lines = query.correctable(found)
    return next((line for line in lines if (line.lot.code, line.role) == wanted), None)


def tell_retried(request: PageRequest, touched: Sequence[Entry]) -> None:
    """Try again what waits for the lots of these entries, and say what was accepted."""
    lots = {lot for done in touched for lot in query.lots_touched(done)}
    for deed, accepted in retrying.retry(lots, request.farm):
        messages.success(
            request, f"It waited and is recorded now: {deed.title}, entry {accepted.entry.seq}."
        )


def way_back(request: PageRequest, found: Entry) -> WayOn | None:
    """Offer to record anew what was taken back: an undo is not undone, and the book keeps both."""
    if not getattr(found, "taken_back", False):
        return None
    way = again(request, deed_of(found), found)
    return way if way and way.is_open_to(request.person) else None


def is_open(found: Entry) -> bool:
    """Say whether an entry can be undone: it stands, and is no correction of another."""
    return found.amends_id is None and not getattr(found, "taken_back", False)


def named_as(root: Entry) -> str:
    """Say what was done to a lot that an entry only names: “moved to fruiting”."""
    kind = kind_named(root.kind)
    return kind.named or kind.done.lower() or "named"


def deed_of(found: Entry) -> Deed | None:
    return BY_SLUG.get(kind_named(found.kind).slug)


def writes(person: Person) -> bool:
    return any(may(person, right) for right in WRITE)
