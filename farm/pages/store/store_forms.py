"""The crop in the fridge and the dryer: weighed again, dried, thrown away."""

import re
from decimal import Decimal, InvalidOperation

from django import forms

from farm.actions.common import Doing, Recorded
from farm.actions.growing.checks import CAUSES
from farm.actions.store.storing import Laid, dry, throw_away, weigh_again
from farm.kinds.store import DRY, THROW_AWAY, WEIGH_AGAIN
from farm.models import Shelf, Stage
from farm.pages.fields import (
    AmountField,
    CountField,
    LotField,
    MassField,
    RowField,
    TemperatureField,
    how_much,
    quantity_field,
)
from farm.pages.recording_form import DoingForm, FirstForm
from farm.queries.keeping import is_fresh
from farm.queries.stock import last_shelf, lots_on_hand
from farm.units import UnitError, read_count
from ledger.models import Lot

# Causes of what is missing at a weighing beyond its water; whose fault is never one of them.
MISSING = ("sale not written down", "sample", "own use", "trim", "moved to another crate", "scale",
           "old", "dropped")  # fmt: skip
HOURS = re.compile(r"(\d{1,3}):([0-5]\d)")


class WeighAgainForm(DoingForm):
    kind = WEIGH_AGAIN
    lot = LotField(Stage.CROP, label="Which pick")
    weight_mg = MassField(label="What it weighs now")
    cause = forms.ChoiceField(
        label="Why, if more than water is missing",
        choices=[("", "not known"), *((why, why) for why in MISSING)],
        required=False,
    )

    def doing(self) -> Doing:
        return self.because(self.cleaned_data["cause"])

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return weigh_again(doing, lot=said["lot"], weight_mg=said["weight_mg"])


class LotFirst(FirstForm):
    lot = LotField(label="Which lot")


class ThrowAwayForm(DoingForm):
    """The unit (weight or pieces) follows from the lot."""

    kind = THROW_AWAY
    first = LotFirst
    cause = forms.ChoiceField(
        label="Why", choices=[("", "Choose a cause"), *((why, why) for why in CAUSES)]
    )

    def build(self) -> None:
        lot: Lot | None = self.given["lot"]
        there = lot.quantity or None if lot else None
        self.add("quantity", quantity_field(lot, label=how_much(lot), initial=there))
        self.order_fields(["quantity", "cause"])

    def doing(self) -> Doing:
        return self.because(self.cleaned_data["cause"])

    def run(self, doing: Doing) -> Recorded:
        return throw_away(doing, lot=self.given["lot"], quantity=self.cleaned_data["quantity"])


class MinutesField(AmountField):
    """A time in minutes, typed as minutes or as hours."""

    def hint(self) -> str:
        return "In minutes, or as hours: 10 h, 9:30"

    def read(self, text: str) -> int:
        typed = text.strip().lower()
        found = HOURS.fullmatch(typed)
        if found:
            return int(found[1]) * 60 + int(found[2])
        hours = typed.removesuffix("h").removesuffix(" hours").strip()
        if hours != typed:
            try:
                return round(Decimal(hours.replace(",", ".")) * 60)
            except InvalidOperation as refusal:
                raise UnitError(f'"{text}" is not a time: type 600, 10 h or 9:30.') from refusal
        return read_count(typed, "minutes")

    def show(self, value: int) -> str:
        return str(value)


class DryForm(DoingForm):
    """Picks, and packs that came back; how it was sliced and laid is asked for, not required."""

    kind = DRY
    group_titles = {"draws": "What went into the dryer, of each lot"}
    dried_mg = MassField(label="Weight when dried")
    temperature_milli_c = TemperatureField(
        label="Dryer's temperature, as measured",
        help_text="Usual heat keeps and does not kill germs: it is cooked before eating.",
    )
    minutes_drying = MinutesField(label="Time in the dryer")
    dryer_wh = CountField(
        label="Energy used, watt-hours", noun="watt-hours", required=False, initial=0
    )
    slice_mm = CountField(label="Slices, mm thick", noun="millimetres", required=False)
    trays = CountField(label="Trays", noun="trays", required=False)
    shelf = RowField(
        queryset=Shelf.objects.select_related("room"), label="Where it is kept", required=False
    )

    def build(self) -> None:
        self.initial.setdefault("shelf", last_shelf(DRY))
        lots = sorted(lots_on_hand(Stage.CROP, Stage.PACKS), key=lambda lot: lot.card.stage)
        self.offer_draws("draws", [lot for lot in lots if is_fresh(lot.card)], stages=[Stage.CROP])

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return dry(
            doing,
            draws=self.drawn("draws"),
            dried_mg=said["dried_mg"],
            temperature_milli_c=said["temperature_milli_c"],
            minutes_drying=said["minutes_drying"],
            dryer_wh=said["dryer_wh"] or 0,
            laid=Laid(said["slice_mm"], said["trays"], said["shelf"]),
        )
