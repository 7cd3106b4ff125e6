"""Labels: /labels/ asks which lots on which sheet, /labels/sheet.pdf prints them."""

from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse

from farm.models import Farm
from farm.pages.access import PageRequest, Right, page
from farm.pages.fields import lot_label, not_found
from farm.pages.frame import show
from farm.queries.stock import all_lots, lot_by_code
from farm.queries.tracing.labels import MOST_LABELS, labels_of, usual_count
from farm.reports.tracing.label_sheets import SHEETS
from farm.reports.tracing.labels import DoesNotFit, labels_pdf
from ledger.codes import is_code, tidy
from ledger.models import Lot

RECENT = 12


class LabelsForm(forms.Form):
    """Which lots, on which sheet, how many of each, from which place on."""

    lot = forms.CharField(
        label="Lots",
        help_text="Their codes; several with a comma between",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    sheet = forms.ChoiceField(
        label="Printed on", choices=[(name, sheet.title) for name, sheet in SHEETS.items()]
    )
    count = forms.IntegerField(
        label="Labels of each lot",
        required=False,
        min_value=1,
        max_value=MOST_LABELS,
        help_text="Blank: one for each bag, block or pack on hand; one for a lot that is weighed",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    start = forms.IntegerField(
        label="First free label on the sheet",
        required=False,
        min_value=1,
        help_text="Blank: a whole sheet. Counted row by row from the top left",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean_lot(self) -> list[Lot]:
        return [_lot(code) for code in codes_in(self.cleaned_data["lot"])]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if self.errors:
            return said
        sheet = SHEETS[said["sheet"]]
        if (said["start"] or 1) > sheet.per_page:
            self.add_error("start", f"This sheet has {sheet.per_page} labels.")
        said["counts"] = [said["count"] or usual_count(lot) for lot in said["lot"]]
        if sum(said["counts"]) > MOST_LABELS:
            self.add_error(
                "count",
                f"{sum(said['counts'])} labels at once are too many. Print {MOST_LABELS} at most.",
            )
        return said

    def pdf(self, farm: Farm, address: str) -> bytes:
        said = self.cleaned_data
        each = zip(labels_of(said["lot"], farm, address), said["counts"], strict=True)
        labels = [label for label, count in each for _ in range(count)]
        return labels_pdf(labels, SHEETS[said["sheet"]], start=said["start"] or 1)


@dataclass(frozen=True)
class Recent:
    code: str
    label: str


@dataclass(frozen=True)
class LabelsPage:
    form: LabelsForm
    recent: list[Recent]


@page(Right.SEE_WORK)
def labels(request: PageRequest) -> HttpResponse:
    if "lot" not in request.GET:
        return _ask(request, LabelsForm(initial=_given(request)))
    form = LabelsForm(_given(request))
    return _ask(request, form)


@page(Right.SEE_WORK)
def labels_sheet(request: PageRequest) -> HttpResponse:
    form = LabelsForm(_given(request))
    if not form.is_valid():
        return _ask(request, form, status=422)
    try:
        content = form.pdf(request.farm, address_of_lots(request))
    except DoesNotFit as refusal:
        form.add_error("sheet", str(refusal))
        return _ask(request, form, status=422)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response


def codes_in(text: str) -> list[str]:
    """Tell the codes in what was typed; one may be parted as on its label, "K7M 4Q"."""
    codes: list[str] = []
    for chunk in text.replace(";", ",").split(","):
        parts = [tidy(part) for part in chunk.split()]
        codes += parts if all(map(is_code, parts)) else [tidy(chunk)]
    return list(dict.fromkeys(code for code in codes if code))


def address_of_lots(request: HttpRequest) -> str:
    """Give the address that a code is put behind, or nothing where no telephone would reach it."""
    host = request.get_host().rsplit(":", 1)[0].strip("[]")
    return "" if host == "localhost" or _is_loopback(host) else request.build_absolute_uri("/lots/")


def _ask(request: PageRequest, form: LabelsForm, status: int = 200) -> HttpResponse:
    recent = all_lots().filter(quantity__gt=0)[:RECENT]
    offered = [Recent(lot.code, lot_label(lot, request.farm)) for lot in recent]
    return show(request, "farm/labels/labels.html", LabelsPage(form, offered), status=status)


def _given(request: HttpRequest) -> dict[str, str]:
    """Take a form's answers from the address; lots may be named one by one or together."""
    given = {name: value for name in ("count", "start") if (value := request.GET.get(name, ""))}
    sheet = request.GET.get("sheet", next(iter(SHEETS)))
    return {"lot": ", ".join(request.GET.getlist("lot")), "sheet": sheet, **given}


def _lot(code: str) -> Lot:
    lot = lot_by_code(code)
    if lot is None or not hasattr(lot, "card"):
        raise ValidationError(not_found(code))
    return lot


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
