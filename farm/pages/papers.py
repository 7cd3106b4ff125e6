"""A paper for a customer, on the screen and as a PDF."""

from dataclasses import dataclass, replace

from django.http import HttpResponse

from farm.pages.access import PageRequest
from farm.pages.frame import show
from farm.pages.laid_out import AnswerPage, Way, laid_out
from farm.reports.files import MEDIA_TYPES
from farm.reports.papers import Paper, paper_pdf
from farm.reports.xlsx import workbook_bytes


@dataclass(frozen=True)
class PaperPage(AnswerPage):
    """``entry``: the sale's entry in the book, or 0; ``acts``: what can be done about it."""

    sender: tuple[str, ...]
    receiver: tuple[str, ...]
    words: tuple[str, ...]
    entry: int
    acts: tuple[Way, ...]


def paper_page(
    request: PageRequest,
    paper: Paper,
    *,
    name: str,
    cautions: tuple[str, ...] = (),
    entry: int = 0,
    acts: tuple[Way, ...] = (),
) -> HttpResponse:
    """Show a paper; `?file=pdf` and `?file=xlsx` take it away. ``acts`` are sent by a button."""
    paper = replace(paper, report=replace(paper.report, cautions=cautions))
    ending = request.GET.get("file", "")
    if ending in MEDIA_TYPES:
        content = paper_pdf(paper) if ending == "pdf" else workbook_bytes(paper.report)
        response = HttpResponse(content, content_type=MEDIA_TYPES[ending])
        response["Content-Disposition"] = f'attachment; filename="{name}.{ending}"'
        return response
    files = (Way("PDF", "?file=pdf"), Way("Spreadsheet", "?file=xlsx"))
    shown = laid_out(paper.report, others=(), files=files, codes_lead_to="lot")
    return show(
        request,
        "farm/orders/paper.html",
        PaperPage(
            **vars(shown),
            sender=paper.sender,
            receiver=paper.receiver,
            words=paper.words,
            entry=entry,
            acts=acts,
        ),
    )


def numbered(name: str) -> dict[str, str | int]:
    """Read a paper's number off an address: I2026-0007 is 7 of the series I2026."""
    series, _, number = name.partition("-")
    return {"series": series, "number": int(number) if number.isdecimal() else 0}
