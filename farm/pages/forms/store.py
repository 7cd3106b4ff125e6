"""The crop in the fridge and the dryer: weighed again, dried, thrown away."""

from django import forms

from farm.actions.checks import CAUSES
from farm.actions.common import Doing, Recorded
from farm.actions.storing import dry, throw_away, weigh_again
from farm.models import Stage
from farm.pages.forms.doing import DoingForm, FirstForm
from farm.pages.forms.fields import (
    CountField,
    LotField,
    MassField,
    TemperatureField,
    quantity_field,
)
from farm.queries.stock import lots_on_hand


class WeighAgainForm(DoingForm):
    takes_time = False
    lot = LotField(Stage.CROP, label="Which pick")
    weight_mg = MassField(label="What it weighs now")

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return weigh_again(doing, lot=said["lot"], weight_mg=said["weight_mg"])


class LotFirst(FirstForm):
    lot = LotField(label="Which lot")


class ThrowAwayForm(DoingForm):
    """The unit (weight or pieces) follows from the lot."""

    takes_time = False
    first = LotFirst
    cause = forms.ChoiceField(
        label="Why", choices=[("", "Choose a cause"), *((why, why) for why in CAUSES)]
    )

    def build(self) -> None:
        lot = self.given["lot"]
        self.add("quantity", quantity_field(lot, label=f"How much of {lot.code}",
                                            initial=lot.quantity or None))  # fmt: skip
        self.order_fields(["quantity", "cause"])

    def doing(self) -> Doing:
        return self.because(self.cleaned_data["cause"])

    def run(self, doing: Doing) -> Recorded:
        return throw_away(doing, lot=self.given["lot"], quantity=self.cleaned_data["quantity"])


class DryForm(DoingForm):
    group_titles = {"draws": "What went into the dryer, of each pick"}
    dried_mg = MassField(label="Weight when dried")
    temperature_milli_c = TemperatureField(label="Dryer's temperature")
    minutes_drying = CountField(label="Minutes in the dryer", noun="minutes")
    dryer_wh = CountField(
        label="Energy used, watt-hours", noun="watt-hours", required=False, initial=0
    )

    def build(self) -> None:
        self.offer_draws("draws", lots_on_hand(Stage.CROP))

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return dry(
            doing,
            draws=self.drawn("draws"),
            dried_mg=said["dried_mg"],
            temperature_milli_c=said["temperature_milli_c"],
            minutes_drying=said["minutes_drying"],
            dryer_wh=said["dryer_wh"] or 0,
        )
