"""Receive what the farm buys: supplies and cultures."""

from typing import Any

from django import forms

from farm.actions.common import Doing, Recorded
from farm.actions.growing import cultures
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.kinds.growing import BUY_CULTURE, RECEIVE_SUPPLIES
from farm.models import Shelf, Strain, Supplier, Supply
from farm.pages.clock import DayField
from farm.pages.fields import (
    CountField,
    MassField,
    MoneyField,
    PlainAmountField,
    RowField,
)
from farm.pages.purchase_tax_field import TaxForm
from farm.pages.recording_form import DoingForm
from ledger.models import Dimension


class DeliveryForm(TaxForm, DoingForm):
    """What the supplier's paper says; the supplier's lot is what a recall asks for."""

    supplier = RowField(queryset=Supplier.objects.all(), required=False)
    supplier_lot = forms.CharField(label="Supplier's lot number", max_length=60, required=False)
    best_before = DayField(
        label="Best before",
        required=False,
    )

    def delivery(self) -> Delivery:
        said = self.cleaned_data
        return Delivery(
            supplier=said["supplier"],
            supplier_lot=said["supplier_lot"],
            best_before=said["best_before"],
        )


class ReceiveForm(DeliveryForm):
    kind = RECEIVE_SUPPLIES
    supply = RowField(queryset=Supply.objects.select_related("item"))
    quantity = PlainAmountField(label="How much came")
    paid_money = MoneyField(
        label="What was paid for it",
        help_text="Landed: with freight, and with the purchase tax that is in it",
    )
    shelf = RowField(
        label="Where it stands", queryset=Shelf.objects.select_related("room"), required=False
    )
    field_order = ["supply", "quantity", "paid_money", "tax", "supplier", "supplier_lot"]

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("supply") and said.get("quantity"):
            counted = said["supply"].item.dimension == Dimension.COUNT
            field = CountField() if counted else MassField()
            self.tell(field)
            try:
                said["quantity"] = field.clean(said["quantity"])
            except forms.ValidationError as refusal:
                self.add_error("quantity", refusal)
        return said

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return receive_supplies(
            doing,
            supply=said["supply"],
            quantity=said["quantity"],
            paid_money=said["paid_money"],
            tax_money=self.tax_in(said["paid_money"]),
            delivery=self.delivery(),
            shelf=said["shelf"],
        )


class BuyCultureForm(DeliveryForm):
    kind = BUY_CULTURE
    strain = RowField(queryset=Strain.objects.select_related("species"))
    portions = CountField(
        label="Portions", noun="portions", help_text="A wedge, or a millilitre of liquid"
    )
    paid_money = MoneyField(label="What was paid for it")
    transfers = forms.IntegerField(
        label="Transfers since the original", min_value=0, initial=0, required=False
    )
    field_order = ["strain", "portions", "paid_money", "tax", "supplier", "supplier_lot"]

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return cultures.buy_culture(
            doing,
            strain=said["strain"],
            portions=said["portions"],
            paid_money=said["paid_money"],
            tax_money=self.tax_in(said["paid_money"]),
            delivery=self.delivery(),
            transfers=said["transfers"] or 0,
        )
