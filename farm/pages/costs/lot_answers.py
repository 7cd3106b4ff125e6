"""Costs: /cost/ asks of which lot or month, and lists the questions; /cost/<code>/ is one lot's.

Each answer is one report; `?file=pdf` and `?file=xlsx` take it away.
"""

from dataclasses import dataclass

from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse

from farm.models import Stage
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.costs.decisions import QUESTIONS, Question
from farm.pages.frame import show
from farm.pages.report_files import handed_out, made_by
from farm.pages.report_page import Way
from farm.queries.costs.costs import cost_of
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.months.months import Month, NoMonthError, month_of, months_kept
from farm.queries.stock import all_lots
from farm.reports.costs.cost_rows import cost_report
from ledger.codes import tidy
from ledger.models import Lot

NEWEST = 12


@dataclass(frozen=True)
class CostsPage:
    """Which lot or month? ``refusal`` and ``meant`` answer a code that no lot has."""

    typed: str
    refusal: str
    meant: tuple[Way, ...]
    questions: tuple[Question, ...]
    newest: tuple[Way, ...]
    months: tuple[Month, ...]


@page(Right.SEE_COSTS)
def costs(request: PageRequest) -> HttpResponse:
    """Go to what was typed, a lot or a month; else say why not, and list what can be asked."""
    typed, refusal = request.GET.get("code", "").strip(), ""
    meant: tuple[Way, ...] = ()
    if typed:
        try:
            return HttpResponseRedirect(_answer_to(typed))
        except UnknownLotError as error:
            refusal = str(error)
            meant = tuple(Way(code, _address(code)) for code in error.suggestions)
    newest = tuple(
        Way(f"{lot.code} · {lot.item.name}", _address(lot.code))
        for lot in all_lots().filter(quantity__gt=0)[:NEWEST]
    )
    months = tuple(months_kept()[:NEWEST])
    shown = CostsPage(typed, refusal, meant, tuple(QUESTIONS.values()), newest, months)
    return show(request, "farm/costs/index.html", shown)


def _answer_to(typed: str) -> str:
    """A month leads to its plan, as it is written in addresses; a code to the cost of its lot."""
    try:
        return reverse("against-of", args=[month_of(typed).key])
    except NoMonthError:
        return _address(find_lot(typed).code)


def _address(code: str) -> str:
    return reverse("cost-of", args=[code])


@page(Right.SEE_COSTS)
def cost_of_lot(request: PageRequest, code: str) -> HttpResponse:
    lot = _lot(request, code)
    others: tuple[Way, ...] = ()
    if may(request.person, Right.SEE_SAFETY):
        others = (Way("Trace", reverse("trace-of", args=[lot.code])),)
    if lot.card.stage == Stage.BLOCKS:
        others = (*others, Way("Against plan", reverse("against-of", args=[lot.code])))
    report = cost_report(cost_of(lot), made_by(request))
    return handed_out(request, report, name=f"cost-{lot.code}", others=others)


def _lot(request: PageRequest, code: str) -> Lot:
    rows = visible_rows.lots(request.person, all_lots())
    return get_or_refuse(request, rows, Right.READ, code=tidy(code))
