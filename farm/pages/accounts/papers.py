"""A paper for a customer, on the screen and as a PDF."""

from dataclasses import dataclass, replace
from decimal import Decimal

from django.http import HttpResponse
from django.urls import reverse
from django.utils.http import urlencode

from farm.pages.access import PageRequest
from farm.pages.addresses import number_named
from farm.pages.frame import show
from farm.pages.report_page import AnswerPage, Way, laid_out
from farm.reports.accounts.papers import Paper, paper_pdf
from farm.reports.files import MEDIA_TYPES
from farm.reports.xlsx import workbook_bytes
from farm.units import MONEY_PER_UNIT


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
    others: tuple[Way, ...] = (),
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
    shown = laid_out(paper.report, others=others, files=files, codes_lead_to="lot")
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


def to_pay(what: str, label: str, **filled: int) -> Way:
    """A way to a form about money, filled in; ``amount`` in the book's money."""
    amount = filled.pop("amount", 0)
    said: dict[str, int | str] = {**filled}
    if amount:
        said["amount"] = f"{Decimal(amount) / MONEY_PER_UNIT:.{2 if amount % 100 == 0 else 4}f}"
    return Way(label, f"{reverse('payment-new', args=[what])}?{urlencode(said)}")


def numbered(name: str) -> dict[str, str | int]:
    """Read a paper's number off an address: I2026-0007 is 7 of the series I2026."""
    series, _, number = name.partition("-")
    return {"series": series, "number": number_named(number) or 0}
