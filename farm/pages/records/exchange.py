"""Take records away at /take-away/: the traceability workbook, or events in the open standard.

No money in either. The workbook names customers to who may see money; else it gives numbers.
"""

import json
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
    """For which days or lots, and what to know of each of the two files."""

    form: SpanForm
    about_workbook: tuple[str, ...]
    about_events: tuple[str, ...]


@page(Right.SEE_SAFETY)
def take_away(request: PageRequest) -> HttpResponse:
    """Ask for days or lots; hand the file over once they are right."""
    form = SpanForm(request.GET if "take" in request.GET else None, initial=request.GET.dict())
    if not form.is_valid():
        status = 422 if form.is_bound else 200
        shown = TakePage(form, (*COVERAGE, NOT_KEPT), ABOUT_EVENTS)
        return show(request, "farm/exchange/take.html", shown, status=status)
    asked = visible_rows.asked(request.person, form.asked())
    return (_events if request.GET["take"] == "events" else _workbook)(request, asked)


def _events(request: PageRequest, asked: Asked) -> HttpResponse:
    said = json.dumps(document(asked.entries, timezone.now()), ensure_ascii=False, indent=1)
    return _file(said.encode(), "events.jsonld", JSON_LD)


def _workbook(request: PageRequest, asked: Asked) -> HttpResponse:
    report = key_data(asked, made_by(request), names=may(request.person, Right.SEE_SALES))
    return _file(workbook_bytes(report), "key-data.xlsx", MEDIA_TYPES["xlsx"])


def _file(content: bytes, name: str, media_type: str) -> HttpResponse:
    response = HttpResponse(content, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
