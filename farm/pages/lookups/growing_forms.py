"""Forms of species, strains and products: what is left blank starts with what is believed of it.

At most three fields must be filled in. The others say what a blank means, and are written as
ordinary figures, to be changed when the farm's own records say better.
"""

from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms

from farm.beliefs import OTHERWISE, PLANNED, Planned, planned_or_guess
from farm.gs1 import begins_with, is_gtin
from farm.models import Farm, Form, PackKind
from farm.pages.fields import AmountField, PressureField
from farm.pages.lookups.lookup_form import LookupForm
from farm.templatetags.farm_format import percent, pressure_unit
from farm.units import PA_PER_UNIT, is_bare, read_energy, show_energy

# Below these a bare number is the other unit: own rule. Vessels stand at 70 kPa and more, and the
# smallest cooker takes a kilowatt for an hour.
LEAST_LIMIT_KPA, LEAST_RUN_WH = 30, 200


class BelievedForm(LookupForm):
    """``believed``: fields that may be left blank, and where a belief has them."""

    believed: ClassVar[Mapping[str, str]] = {}

    def __init__(self, *given: Any, **known: Any) -> None:
        super().__init__(*given, **known)
        for name in self.believed:
            field = self.fields[name]
            field.required = False
            if self.instance.pk is None:
                self.initial[name] = None
            if isinstance(field, AmountField):
                field.blank_value = None
            field.help_text = f"Blank: {self._starting(name)}. {field.help_text}".strip()

    def species_name(self, said: dict[str, Any]) -> str:
        """Name the species that the row is of."""
        return str(said.get("species") or "")

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        belief = planned_or_guess(self.species_name(said))
        for name, where in self.believed.items():
            if said.get(name) is None and name not in self.errors:
                said[name] = figure(belief, where)
        return said

    def _starting(self, name: str) -> str:
        """Say what a blank comes to: “oyster 16, shiitake 60, otherwise 21”."""
        field, where = self.fields[name], self.believed[name]
        shown = []
        for belief in (*PLANNED, OTHERWISE):
            value = figure(belief, where)
            words = field.show(value) if isinstance(field, AmountField) else value
            shown.append(f"{belief.species.lower()} {words}")
        return ", ".join(shown)


def figure(belief: Planned, where: str) -> int:
    """Read a figure of a belief; a flush by its place."""
    if where.isdigit():
        return belief.picked_mg[int(where)]
    value: int = getattr(belief, where)
    return value


class SpeciesForm(BelievedForm):
    believed = {name: name for name in ("moisture_ppm", "fridge_days", "water_loss_ppm")}

    def species_name(self, said: dict[str, Any]) -> str:
        return str(said.get("name") or "")


class StrainForm(BelievedForm):
    believed = {
        **{
            name: name
            for name in ("spawn_run_days", "first_pick_days", "flush_gap_days", "soak_days")
        },
        "first_mg": "0",
        "planned_loss_ppm": "planned_loss_ppm",
    }


class LimitField(PressureField):
    """The pressure on a vessel's plate, in whole kPa inside."""

    def read(self, text: str) -> int:
        return (super().read(text) + 500) // 1_000

    def show(self, value: int) -> str:
        """Show kPa, or to a farm in pounds the psi of its plate: 103 kPa are 15 psi."""
        unit = pressure_unit(self.farm)
        if unit == "kPa":
            return f"{value} kPa"
        psi = str(round(value * 1_000 / PA_PER_UNIT[unit]))
        return f"{psi} {unit}" if self.read(psi) == value else super().show(value * 1_000)

    def hint(self) -> str:
        return "As the plate says it, with its unit: 15 psi, 1 bar, 103 kPa. None: 0"


class EnergyField(AmountField):
    def hint(self) -> str:
        return "With its unit: 3 kWh, 3000 Wh"

    def read(self, text: str) -> int:
        return read_energy(text)

    def show(self, value: int) -> str:
        return show_energy(value)


class SteriliserForm(LookupForm):
    """A bare number far from any steriliser is asked for with its unit: 15 is psi off a plate."""

    max_gauge_kpa = LimitField(label="Maker's limit, above the air outside", required=False)
    run_wh = EnergyField(label="Energy of one run")

    def clean_max_gauge_kpa(self) -> int:
        return self.cleaned_data["max_gauge_kpa"] or 0

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        limit_kpa, run_wh = said.get("max_gauge_kpa"), said.get("run_wh")
        if said.get("pressurised") and limit_kpa and limit_kpa < LEAST_LIMIT_KPA:
            self._need_unit("max_gauge_kpa", "15 psi, 1 bar or 103 kPa")
        if run_wh and run_wh < LEAST_RUN_WH:
            self._need_unit("run_wh", "3 kWh or 3000 Wh")
        return said

    def _need_unit(self, name: str, examples: str) -> None:
        typed = str(self.data.get(name, "")).strip()
        if is_bare(typed):
            self.add_error(name, f"{typed} of what? Type it with its unit, such as {examples}.")


class ProductForm(LookupForm):
    """Most products are fresh, and fresh belongs in an open pack."""

    def __init__(self, *given: Any, farm: Farm, **known: Any) -> None:
        super().__init__(*given, farm=farm, **known)
        self.prefix_of_farm = farm.company_prefix
        if not self.instance.pk:
            self.initial.update(form=Form.FRESH, pack=PackKind.OPEN)

    def clean_tax_ppm(self) -> int:
        """Keep the rate that sales carry: another holds from a day on, in a row of its own."""
        tax_ppm: int = self.cleaned_data["tax_ppm"]
        before = self.instance.tax_ppm
        if self.instance.pk and tax_ppm != before and self.instance.sale_lines.exists():
            raise forms.ValidationError(
                f"It was sold with {percent(before)}. From which day on? Add the new rate "
                "under Farm details, sales tax rates."
            )
        return tax_ppm

    def clean_gtin(self) -> str:
        """Refuse a number of somebody else's, where the farm says what its own begin with."""
        gtin: str = self.cleaned_data["gtin"]
        if gtin:
            is_gtin(gtin)
        if gtin and self.prefix_of_farm and not begins_with(gtin, self.prefix_of_farm):
            raise forms.ValidationError(
                f"{gtin} does not begin with the farm's GS1 prefix, {self.prefix_of_farm}. Give "
                "the number that the farm gave this pack, or put the prefix right under Farm "
                "details, The farm."
            )
        return gtin
