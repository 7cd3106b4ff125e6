"""Take records away: /key-data/ is the traceability workbook, /events/ the open standard.

No money in either. The workbook names customers to who may see money; else it gives numbers.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass

from django.http import HttpResponse
from django.utils import timezone

from farm.exchange.choosing import Asked
from farm.exchange.epcis import document
from farm.exchange.key_data import COVERAGE, NOT_KEPT, key_data
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, may, page
from farm.pages.frame import show
from farm.pages.records.export_forms import SpanForm
from farm.pages.report_files import made_by
from farm.reports.files import MEDIA_TYPES
from farm.reports.xlsx import workbook_bytes

JSON_LD = "application/ld+json"
ABOUT_EVENTS = (
    "A file of events for partners' and authorities' programs: EPCIS 2.0 (ISO/IEC 19987) as "
    "JSON-LD, with quantities in UN/ECE units.",
    "Lots, places and customers stand under the farm's own address, customers by number. A "
    "correction repeats the event with an error declaration.",
)


@dataclass(frozen=True)
class TakePage:
    """What is taken away, what to know of it, and for which days or lots."""

    title: str
    known: tuple[str, ...]
    form: SpanForm
    button: str
    photo_target: str


@page(Right.SEE_SAFETY)
def events(request: PageRequest) -> HttpResponse:
    def taken(asked: Asked) -> HttpResponse:
        said = json.dumps(document(asked.entries, timezone.now()), ensure_ascii=False, indent=1)
        return _file(said.encode(), "events.jsonld", JSON_LD)

    button = "Take the events"
    form = _form(request)
    shown = TakePage("Events in the open standard", ABOUT_EVENTS, form, button, "events")
    return _take(request, shown, taken)


@page(Right.SEE_SAFETY)
def key_data_page(request: PageRequest) -> HttpResponse:
    def taken(asked: Asked) -> HttpResponse:
        made = made_by(request)
        report = key_data(asked, made, names=may(request.person, Right.SEE_SALES))
        return _file(workbook_bytes(report), "key-data.xlsx", MEDIA_TYPES["xlsx"])

    known = (*COVERAGE, NOT_KEPT)
    button, form = "Take the workbook", _form(request)
    shown = TakePage("Traceability key data", known, form, button, "key-data")
    return _take(request, shown, taken)


def _form(request: PageRequest) -> SpanForm:
    return SpanForm(request.GET if "take" in request.GET else None, initial=request.GET.dict())


def _take(
    request: PageRequest, shown: TakePage, taken: Callable[[Asked], HttpResponse]
) -> HttpResponse:
    """Ask for days or lots; hand the file over once they are right."""
    if shown.form.is_valid():
        return taken(visible_rows.asked(request.person, shown.form.asked()))
    status = 422 if shown.form.is_bound else 200
    return show(request, "farm/exchange/take.html", shown, status=status)


def _file(content: bytes, name: str, media_type: str) -> HttpResponse:
    response = HttpResponse(content, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
