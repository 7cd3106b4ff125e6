"""A report handed out: as a page, or as a file where the address asks for one."""

from dataclasses import replace

from django.http import HttpResponse
from django.utils import timezone

from farm.models import Person
from farm.pages.access import PageRequest
from farm.pages.frame import show
from farm.pages.report_page import AnswerPage, Way, laid_out
from farm.reports.files import MEDIA_TYPES, file_of
from farm.reports.report_heading import Made, made_for
from farm.reports.rows import Report

FILES = {"PDF": "pdf", "Spreadsheet": "xlsx", "Tables as CSV": "zip"}


def made_by(request: PageRequest) -> Made:
    return made_for(request.farm, in_role(request.person), timezone.now())


def in_role(person: Person) -> str:
    """Name who takes something away, and in which role: it says what they could see."""
    return f"{person} ({person.get_role_display()})"


def handed_out(
    request: PageRequest,
    report: Report,
    *,
    name: str,
    others: tuple[Way, ...] = (),
    codes_lead_to: str = "cost-of",
    folds: str = "",
    on_page: Report | None = None,
) -> HttpResponse:
    """Show a report; `?file=pdf`, `?file=xlsx` and `?file=zip` take it away.

    ``on_page``: what the page shows, where it says more than a file may.
    """
    file = taken_away(request, report, name)
    shown = answer_page(request, on_page or report, others=others, codes_lead_to=codes_lead_to)
    return file or show(request, "farm/answers/answer.html", replace(shown, folds=folds))


def taken_away(request: PageRequest, report: Report, name: str) -> HttpResponse | None:
    """Lay the report out as the file that the address asks for."""
    ending = request.GET.get("file", "")
    if ending not in MEDIA_TYPES:
        return None
    response = HttpResponse(file_of(report, ending), content_type=MEDIA_TYPES[ending])
    response["Content-Disposition"] = f'attachment; filename="{name}.{ending}"'
    return response


def answer_page(
    request: PageRequest,
    report: Report,
    *,
    others: tuple[Way, ...] = (),
    codes_lead_to: str = "cost-of",
) -> AnswerPage:
    files = tuple(Way(label, _with(request, file)) for label, file in FILES.items())
    return laid_out(report, others=others, files=files, codes_lead_to=codes_lead_to)


def _with(request: PageRequest, file: str) -> str:
    """This address, asking for a file."""
    query = request.GET.copy()
    query["file"] = file
    return f"?{query.urlencode()}"
