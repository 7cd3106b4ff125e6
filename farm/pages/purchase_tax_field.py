"""The purchase tax in what was paid: one box for its amount or its rate."""

from typing import Any

from django import forms

from farm.actions.growing.purchase_tax import tax_within
from farm.models import BillKind, Supplier
from farm.pages.fields import AmountField, MoneyField, PercentField, RowField
from farm.pages.recording_form import FarmForm
from farm.units import read_money


class TaxField(AmountField):
    """An amount, or a rate in percent; what a rate comes to is known once the sum is."""

    def hint(self) -> str:
        does = "the farm reclaims it" if self.farm.reclaims_purchase_tax else "it stays a cost"
        return f"In {self.farm.currency}, or its rate, such as 21 %; {does}"

    def read(self, text: str) -> str:
        self.tax_in(0, text)
        return text

    def tax_in(self, paid_money: int, text: str | None) -> int:
        """Read the tax in a sum, 0 where none is stated."""
        if not text:
            return 0
        if "%" in text:
            return tax_within(paid_money, PercentField().read(text))
        return read_money(text, self.farm.currency)


class TaxForm(forms.Form):
    """For forms that state what was paid."""

    tax = TaxField(label="Purchase tax in it", required=False)

    def tax_in(self, paid_money: int) -> int:
        field = self.fields["tax"]
        assert isinstance(field, TaxField)
        return field.tax_in(paid_money, self.cleaned_data.get("tax"))


class BillForm(TaxForm, FarmForm):
    """A bill of a month: two things are needed, what for and how much."""

    kind = forms.ChoiceField(label="What it is for", choices=BillKind.choices)
    paid_money = MoneyField(label="What is to be paid, tax in it")
    supplier = RowField(queryset=Supplier.objects.all(), required=False)
    note = forms.CharField(
        max_length=200, required=False, help_text="The bill's number, or what it covers"
    )
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    field_order = ["kind", "paid_money", "tax", "supplier", "note"]

    def said(self) -> dict[str, Any]:
        """What an action is told, besides the month."""
        said = self.cleaned_data
        return {
            "kind": BillKind(said["kind"]),
            "paid_money": said["paid_money"],
            "tax_money": self.tax_in(said["paid_money"]),
            "supplier": said["supplier"],
            "note": said["note"],
        }
