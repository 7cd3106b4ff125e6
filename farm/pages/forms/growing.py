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
from farm.pages.forms.fields import AmountField
from farm.pages.forms.lookup_form import LookupForm


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
        return belief.flushes_mg[int(where)]
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


class ProductForm(LookupForm):
    """Most products are fresh, and fresh belongs in an open pack."""

    def __init__(self, *given: Any, farm: Farm, **known: Any) -> None:
        super().__init__(*given, farm=farm, **known)
        self.prefix_of_farm = farm.company_prefix
        if not self.instance.pk:
            self.initial.update(form=Form.FRESH, pack=PackKind.OPEN)

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
