"""One's own ways: in which unit one weighs, and the PIN one signs with."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from farm.actions.lookups.lookups import weigh_in
from farm.actions.signing import set_pin
from farm.models import Person, WeightUnit
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show
from ledger.errors import Refused


class OwnForm(forms.Form):
    """A PIN is set with the password beside it: whoever finds a tablet open cannot."""

    weight_unit = forms.ChoiceField(
        label="You weigh in",
        required=False,
        choices=[("", "as the farm does"), *WeightUnit.choices],
        help_text="What a bare number means, and what you are shown first",
    )
    pin = forms.CharField(
        label="New PIN",
        max_length=8,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
        help_text="Four to eight digits, to enter where somebody else is signed in; "
        "blank leaves it as it is",
    )
    password = forms.CharField(
        label="Your password, for a new PIN",
        strip=False,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, data: Mapping[str, Any] | None, *, person: Person) -> None:
        super().__init__(data, initial={"weight_unit": person.weight_unit})
        self.person = person

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if said.get("pin") and not self.person.user.check_password(said.get("password", "")):
            self.add_error("password", "This is not your password. The PIN stays as it was.")
        return said


@dataclass(frozen=True)
class OwnWaysPage:
    form: OwnForm


@page(Right.READ)
def own_ways(request: PageRequest) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = OwnForm(data, person=request.person)
    if data is not None and form.is_valid():
        try:
            weigh_in(request.person, form.cleaned_data["weight_unit"])
            if form.cleaned_data["pin"]:
                set_pin(request.person, form.cleaned_data["pin"])
        except Refused as refusal:
            form.add_error("pin", str(refusal))
        else:
            messages.success(request, "Changed, for you alone.")
            return redirect("own-ways")
    return show(request, "farm/access/ways.html", OwnWaysPage(form))
