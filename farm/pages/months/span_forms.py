"""Which days, of which species and place, and fresh or dried, a report is asked for."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django import forms

from farm.models import Form, SellingPlace, Species
from farm.pages.records.record_forms import UsualDaysForm, newest

A_WEEK, A_MONTH = timedelta(days=6), timedelta(days=30)


class WhereForm(UsualDaysForm):
    """Days, fresh or dried goods, and perhaps a species or a selling place; or one lot's code."""

    form = forms.ChoiceField(label="Goods", choices=Form)
    species = forms.ModelChoiceField(
        Species.objects.all(), label="Species", required=False, empty_label="all"
    )
    place = forms.ModelChoiceField(
        SellingPlace.objects.all(), label="Or a selling place", required=False, empty_label="none"
    )
    lot = forms.CharField(
        label="Or one lot",
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )

    def __init__(self, data: Mapping[str, Any]) -> None:
        super().__init__(data, usual=newest(A_WEEK))
        self.data = {
            **self.data,
            "form": data.get("form") or Form.FRESH,
            "species": data.get("species", ""),
            "place": data.get("place", ""),
            "lot": data.get("lot", ""),
        }


class SpanForm(UsualDaysForm):
    """Days, and perhaps one species or one selling place."""

    species = forms.ModelChoiceField(
        Species.objects.all(), label="Species", required=False, empty_label="all"
    )
    place = forms.ModelChoiceField(
        SellingPlace.objects.all(), label="Selling place", required=False, empty_label="all"
    )

    def __init__(self, data: Mapping[str, Any]) -> None:
        super().__init__(data, usual=newest(A_MONTH))
        self.data = {
            **self.data,
            "species": data.get("species", ""),
            "place": data.get("place", ""),
        }
