"""Issue an invoice; enter what came in, what was paid back, and what is given up."""

from collections.abc import Mapping
from datetime import date
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm.actions.accounts.settling import Paid
from farm.actions.common import Doing
from farm.models import Customer, Farm, Invoice, Method, Person, Share
from farm.pages.asking_form import SureForm
from farm.pages.clock import DayField
from farm.pages.fields import MoneyField, RowField
from farm.pages.recording_form import FarmForm

OF_CUSTOMERS = Invoice.objects.filter(customer__isnull=False, credits=None).order_by("-pk")
DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class IssueForm(FarmForm):
    """For one customer: all that was sold up to a day."""

    customer = RowField(queryset=Customer.objects.all())
    until = DayField(label="Sales up to")
    note = forms.CharField(label="Words on the invoice", required=False, max_length=200)
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data: Mapping[str, Any] | None = None, *, farm: Farm) -> None:
        today = timezone.localdate()
        super().__init__(data, farm=farm, initial={"until": today, "uuid": uuid4()})

    def doing(self, person: Person) -> Doing:
        said = self.cleaned_data
        return Doing(by=person, happened_at=timezone.now(), uuid=said["uuid"], reason=said["note"])


class SettlingForm(SureForm):
    """What every row of an account states: whose, how much, on which day, of which share."""

    customer = RowField(queryset=Customer.objects.all())
    amount = MoneyField()
    paid_on = DayField(label="On which day")
    share = RowField(queryset=Share.objects.select_related("customer"), required=False)
    note = forms.CharField(label="Why", max_length=200)
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        usual = {"paid_on": timezone.localdate(), "method": Method.BANK, "uuid": uuid4()}
        super().__init__(data, farm=farm, initial={**usual, **(initial or {})})

    def clean_paid_on(self) -> date:
        paid_on: date = self.cleaned_data["paid_on"]
        if paid_on > timezone.localdate():
            raise ValidationError("This is later than today. State when it was.")
        return paid_on

    def doing(self, person: Person) -> Doing:
        said = self.cleaned_data
        return Doing(
            by=person,
            happened_at=timezone.now(),
            uuid=said["uuid"],
            reason=said["note"],
            sure=self.is_sure(),
        )

    def paid(self) -> Paid:
        said = self.cleaned_data
        return Paid(
            customer=said["customer"],
            amount_money=said["amount"],
            paid_on=said["paid_on"],
            method=Method(said.get("method") or Method.BANK),
            invoice=said.get("invoice"),
            share=said["share"],
        )


class PaymentForm(SettlingForm):
    """``invoice`` blank: the oldest that are open are paid first."""

    yes = "Yes, that came in"
    amount = MoneyField(label="What came in")
    method = forms.ChoiceField(label="How", choices=Method.choices)
    invoice = RowField(
        label="For one invoice only",
        queryset=OF_CUSTOMERS,
        required=False,
        help_text="Not stated: the oldest that are open",
    )
    share = RowField(
        label="Or a deposit for a share",
        queryset=Share.objects.select_related("customer"),
        required=False,
        help_text="Owed to the member until the boxes are delivered",
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    field_order = ("customer", "amount", "paid_on", "method", "invoice", "share", "note")


class PayBackForm(SettlingForm):
    """What a customer is paid back, with the reason."""

    yes = "Yes, that was paid back"
    amount = MoneyField(label="What was paid back")
    method = forms.ChoiceField(label="How", choices=Method.choices)
    share = RowField(
        label="From the deposit of a share",
        queryset=Share.objects.select_related("customer"),
        required=False,
    )
    field_order = ("customer", "amount", "note", "paid_on", "method", "share")


class GiveUpForm(SettlingForm):
    """What a customer owes and will not pay, or leaves to the farm, with the reason."""

    amount = MoneyField(label="How much")
    invoice = RowField(
        label="Of which invoice",
        queryset=OF_CUSTOMERS,
        required=False,
        help_text="Where the customer owes more than one",
    )
    share = RowField(
        label="Or of the deposit of a share",
        queryset=Share.objects.select_related("customer"),
        required=False,
    )
    field_order = ("customer", "amount", "note", "paid_on", "invoice", "share")
