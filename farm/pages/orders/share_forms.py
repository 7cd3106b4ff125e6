"""Take a share of a season."""

from collections.abc import Mapping
from typing import Any

from django import forms

from farm.actions.orders.shares import Season
from farm.models import Customer, Farm, Person
from farm.pages.clock import DayField
from farm.pages.fields import CountField, MoneyField
from farm.pages.orders.order_forms import OFTEN, WantedForm


class ShareForm(WantedForm):
    """How many boxes at what price, and what is usually in one: that may differ each time."""

    due_on = DayField(label="First box on")
    every_weeks = forms.ChoiceField(label="How often", choices=OFTEN[1:])
    boxes = CountField(label="How many boxes", noun="boxes")
    box_money = MoneyField(label="Price of a box, tax in it")

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        customer: Customer,
    ) -> None:
        super().__init__(data, farm=farm, person=person, customer=customer)
        first = ("due_on", "every_weeks", "boxes", "box_money")
        rest = [name for name in self.fields if name not in (*first, "note")]
        self.order_fields([*first, *rest, "note"])

    def season(self) -> Season:
        said = self.cleaned_data
        return Season(
            first=said["due_on"],
            every_weeks=int(said["every_weeks"]),
            boxes=said["boxes"],
            box_money=said["box_money"],
        )


class LeftForm(forms.Form):
    reason = forms.CharField(label="What became of it", max_length=200)
