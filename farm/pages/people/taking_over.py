"""Who is entering at this device: another takes over by initials and PIN, and gives it back."""

from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from farm.actions.signing import by_pin
from farm.models import Person
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.entering import give_back, may_take_over, take_over
from farm.pages.frame import show
from ledger.errors import Refused


class PinForm(forms.Form):
    pin = forms.CharField(
        label="PIN",
        max_length=8,
        widget=forms.PasswordInput(
            attrs={"autocomplete": "off", "inputmode": "numeric", "autofocus": True}
        ),
    )


@dataclass(frozen=True)
class WhoPage:
    """``device``: who is signed in; ``others``: who may take over; ``back_to``: where from."""

    device: Person
    others: list[Person]
    back_to: str


@dataclass(frozen=True)
class PinPage:
    somebody: Person
    form: PinForm
    back_to: str


@page(Right.RECORD, Right.SELL)
def who(request: PageRequest) -> HttpResponse:
    """Show everybody's initials as buttons; each asks for a PIN."""
    device = device_person(request)
    others = [one for one in may_take_over(device) if one != request.person]
    return show(request, "farm/access/who.html", WhoPage(device, others, _back_to(request)))


@sensitive_post_parameters()
@page(Right.RECORD, Right.SELL)
def who_pin(request: PageRequest, pk: int) -> HttpResponse:
    """Ask somebody's PIN; right, what is entered from then on is by them."""
    rows = may_take_over(device_person(request))
    somebody = get_or_refuse(request, rows, Right.RECORD, Right.SELL, pk=pk)
    form = PinForm(request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        try:
            person = by_pin(somebody.initials, form.cleaned_data["pin"])
        except Refused as refusal:
            form.add_error("pin", str(refusal))
        else:
            take_over(request, person)
            messages.success(request, f"{person.initials} is entering now.")
            return redirect(_back_to(request))
    status = 422 if form.is_bound else 200
    shown = PinPage(somebody, form, _back_to(request))
    return show(request, "farm/access/pin.html", shown, status=status)


@require_POST
@page(Right.READ)
def who_back(request: PageRequest) -> HttpResponse:
    """Give the device back to who is signed in."""
    device = device_person(request)
    give_back(request)
    messages.success(request, f"{device.initials} is entering again.")
    return redirect(_back_to(request))


def device_person(request: PageRequest) -> Person:
    return request.person.entering_under or request.person


def _back_to(request: PageRequest) -> str:
    """Where somebody was when they asked to take over; never another site."""
    asked = request.POST.get("next") or request.GET.get("next") or "/"
    inside = url_has_allowed_host_and_scheme(asked, {request.get_host()}, request.is_secure())
    return asked if inside and not asked.startswith("/who/") else "/"
