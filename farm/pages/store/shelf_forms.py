"""Weigh a whole shelf in: one row a lot, blank where nobody weighed, each its own entry."""

from collections.abc import Mapping
from typing import Any

from django import forms

from farm.actions.common import Doing, Recorded
from farm.actions.store.storing import weigh_again
from farm.models import Farm
from farm.pages.fields import MassField, lot_label
from farm.pages.row_forms import RowsForm
from farm.pages.store.store_forms import MISSING
from farm.queries.store.in_store import Stored
from farm.units import show_both


class ShelfForm(RowsForm[Stored]):
    """What each lot should weigh stands beside its box as a hint, never in it."""

    typed = ("weight",)
    asked_late = ("cause",)

    def fields_of(self, thing: Stored) -> Mapping[str, forms.Field]:
        weight = MassField(label="Weight now", required=False)
        weight.help_text = hint_of(thing, self.farm)
        causes = [("", "not known"), *((why, why) for why in MISSING)]
        cause = forms.ChoiceField(label="Why", choices=causes, required=False)
        return {"weight": weight, "cause": cause}

    def name_of(self, thing: Stored) -> str:
        return thing.lot.code

    def label_of(self, thing: Stored) -> str:
        return lot_label(thing.lot, self.farm)

    def run_row(self, thing: Stored, said: Mapping[str, Any], doing: Doing) -> Recorded:
        return weigh_again(doing, lot=thing.lot, weight_mg=said["weight"])


def hint_of(one: Stored, farm: Farm) -> str:
    if one.expected_mg is None or one.least_mg is None or one.most_mg is None:
        return ""
    expected, least, most = (
        show_both(mg, farm.weight_unit) for mg in (one.expected_mg, one.least_mg, one.most_mg)
    )
    return f"Should weigh about {expected} (from {least} to {most})"
