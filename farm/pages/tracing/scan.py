"""A photo of a label, where the browser cannot scan: /scan/ reads it and leads back with the code.

Nothing is written and nothing is kept: the photo is read in memory, for those who may read.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode

from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from farm.pages.report_page import Way
from farm.pages.uploads import PHOTO, checked
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.stock import all_lots
from farm.queries.tracing.reading_labels import NoCodeError, code_on_photo

# Where a scan may lead: the page that asked, and the name under which it takes a code.
TARGETS = {
    "lot": ("Show the lot", "lot", ""),
    "trace": ("Trace it", "trace-of", ""),
    "cost": ("Show its cost", "costs", "code"),
    "drill": ("Start a drill", "drills", "code"),
    "labels": ("Make labels", "labels", "lot"),
    "take-away": ("Take its data away", "take-away", "lot"),
}
FIRST_TARGET = "lot"


class PhotoForm(forms.Form):
    """One photo, and what the code is for."""

    photo = forms.FileField(
        label="Photo of the label",
        help_text="One label, close and straight on; it is read as soon as it is taken",
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"required": "No photo arrived. Take or choose one."},
    )
    target = forms.ChoiceField(
        label="What for", choices=[(name, words) for name, (words, *_) in TARGETS.items()]
    )

    def clean_photo(self) -> bytes:
        return checked(self.cleaned_data["photo"], PHOTO)


@dataclass(frozen=True)
class ScanPage:
    """``refusal`` and ``meant`` answer a photo without a code, or a code that no lot has."""

    form: PhotoForm
    refusal: str = ""
    meant: tuple[Way, ...] = ()


@page(Right.SEE_LOTS)
def scan(request: PageRequest) -> HttpResponse:
    """Read the photo and lead back to the page that asked, with the code filled in."""
    if request.method != "POST":
        asked = request.GET.get("target", "")
        target = asked if asked in TARGETS else FIRST_TARGET
        return show(request, "farm/scan/scan.html", ScanPage(PhotoForm(initial={"target": target})))
    form = PhotoForm(request.POST, request.FILES)
    if not form.is_valid():
        return show(request, "farm/scan/scan.html", ScanPage(form), status=422)
    target = form.cleaned_data["target"]
    try:
        found = find_lot(code_on_photo(form.cleaned_data["photo"]))
        if not lots_seen(request, [found.code]):
            raise UnknownLotError(found.code, ())
        return redirect(address_of(target, found.code))
    except NoCodeError as refusal:
        shown = ScanPage(form, str(refusal))
    except UnknownLotError as refusal:
        codes = lots_seen(request, refusal.suggestions)
        meant = tuple(Way(code, address_of(target, code)) for code in codes)
        shown = ScanPage(form, str(refusal), meant)
    return show(request, "farm/scan/scan.html", shown, status=422)


def lots_seen(request: PageRequest, codes: Sequence[str]) -> list[str]:
    """Leave those codes whose lots the person may see."""
    rows = visible_rows.lots(request.person, all_lots().filter(code__in=codes))
    return [found.code for found in rows]


def address_of(target: str, code: str) -> str:
    """Give the address of a page with the code filled in."""
    _, name, field = TARGETS[target]
    if not field:
        return reverse(name, args=[code])
    return f"{reverse(name)}?{urlencode({field: code})}"
