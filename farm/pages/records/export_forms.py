"""Which days, or which lots' trace, an export is asked for."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from farm import habits
from farm.exchange.choosing import Asked, asked_between, asked_of_lots
from farm.pages.clock import DayField
from farm.queries.finding import UnknownLotError, find_lot
from ledger.models import Lot


class DaysForm(forms.Form):
    """Days, both ends included."""

    first = DayField(
        label="First day",
        required=False,
    )
    last = DayField(
        label="Last day",
        required=False,
    )

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        first, last = said.get("first"), said.get("last")
        if first and last and first > last:
            self.add_error(
                "last", f"{habits.day(last)} is before the first day, {habits.day(first)}."
            )
        return said


class SpanForm(DaysForm):
    """Days, both ends included, or the trace of some lots, both ways; nothing: everything."""

    lot = forms.CharField(
        label="Or lots",
        required=False,
        help_text="Their codes instead of days: all behind them and all after them",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )

    def clean_lot(self) -> list[Lot]:
        codes = self.cleaned_data["lot"].replace(",", " ").split()
        try:
            return [find_lot(code) for code in codes]
        except UnknownLotError as refusal:
            raise ValidationError(str(refusal)) from refusal

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if said.get("lot") and (said.get("first") or said.get("last")):
            self.add_error("lot", "Give days or lots, not both.")
        return said

    def asked(self) -> Asked:
        said = self.cleaned_data
        if said["lot"]:
            return asked_of_lots(said["lot"])
        return asked_between(said["first"], said["last"])
