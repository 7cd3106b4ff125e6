"""Grain: prepared by a recipe, sterilised, inoculated."""

from typing import Any

from farm.actions.common import Doing, Recorded
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.actions.growing.runs import sterilise
from farm.kinds.growing import INOCULATE_GRAIN, PREPARE_GRAIN, STERILISER_RUN
from farm.models import RecipeFor, RecipeVersion, Stage, Steriliser
from farm.pages.fields import (
    CountField,
    LotField,
    LotsField,
    PressureField,
    RowField,
    TemperatureField,
    how_much,
    quantity_field,
)
from farm.pages.recording_form import DoingForm, FirstForm
from farm.queries.growing.recipes import ingredients, newest_versions
from farm.units import show_both
from ledger.models import Lot


class GrainFirst(FirstForm):
    recipe = RowField(queryset=newest_versions(RecipeFor.GRAIN))
    count = CountField(label="How many bags or jars", noun="bags")


class FillForm(DoingForm):
    """Fill by a recipe: the ingredient lots, prefilled from it, the oldest first."""

    group_titles = {"draws": "From which lots"}

    def build(self) -> None:
        recipe: RecipeVersion = self.given["recipe"]
        count: int | None = self.given["count"]
        found = ingredients(recipe, count or 1)
        self.missing = found.missing
        self.offer_draws("draws", found.lots, found.taken if count else {}, stages=[Stage.SUPPLY])
        if count is None:
            for item, each in found.each.items():
                of_it = [row for row in self.groups["draws"] if row[0].item_id == item.pk]
                self.share_out(str(item), each, of_it, by="count")

    def to_know(self) -> str:
        """Say how much water goes in, which is no lot."""
        recipe: RecipeVersion = self.given["recipe"]
        count: int | None = self.given["count"]
        each = f"{show_both(recipe.water_mg, self.farm.weight_unit)} of water in each"
        if count is None:
            return f"Add {each}."
        return f"Add {show_both(recipe.water_mg * count, self.farm.weight_unit)} of water: {each}."

    def warning(self) -> str:
        """Say which ingredients the lots on hand do not cover."""
        if not self.missing:
            return ""
        return (
            f"Not enough on hand for this many: {', '.join(self.missing)}. "
            "Receive it first, or go back and fill fewer."
        )


class PrepareGrainForm(FillForm):
    kind = PREPARE_GRAIN
    first = GrainFirst

    def run(self, doing: Doing) -> Recorded:
        return prepare_grain(
            doing,
            recipe=self.given["recipe"],
            bags=self.given["count"],
            draws=self.drawn("draws"),
        )


class SteriliseForm(DoingForm):
    kind = STERILISER_RUN
    steriliser = RowField(queryset=Steriliser.objects.all())
    lots = LotsField(Stage.GRAIN, Stage.BAGS, label="What was in it")
    minutes_at_temperature = CountField(label="Minutes at temperature", noun="minutes")
    gauge_pa = PressureField(label="Pressure read, if it has a gauge", required=False)
    temperature_milli_c = TemperatureField(label="Temperature read, if it has none", required=False)

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("gauge_pa") is None and said.get("temperature_milli_c") is None:
            typed = any(name in self.errors for name in ("gauge_pa", "temperature_milli_c"))
            if not typed:
                self.add_error("gauge_pa", "State the pressure or the temperature that was read.")
        return said

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return sterilise(
            doing,
            steriliser=said["steriliser"],
            lots=said["lots"],
            minutes_at_temperature=said["minutes_at_temperature"],
            gauge_pa=said["gauge_pa"],
            temperature_milli_c=said["temperature_milli_c"],
        )


class SourceFirst(FirstForm):
    source = LotField(Stage.CULTURE, Stage.SPAWN, label="From which culture or grown grain")


class InoculateGrainForm(DoingForm):
    """The unit of what is taken (portions, or weight) follows from the source."""

    kind = INOCULATE_GRAIN
    first = SourceFirst
    grain = LotField(Stage.GRAIN, label="Into which grain")
    bags = CountField(label="How many bags or jars", noun="bags")

    def build(self) -> None:
        source: Lot | None = self.given["source"]
        weighed = source and source.card.stage == Stage.SPAWN
        unit = ("weighed" if weighed else "in portions") if source else "weighed or in portions"
        self.add("amount", quantity_field(source, label=f"{how_much(source)}, {unit}"))

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return inoculate_grain(
            doing,
            grain=said["grain"],
            bags=said["bags"],
            source=self.given["source"],
            amount=said["amount"],
        )
