"""The forms of the decisions: every number is known where it is left blank, with its source."""

from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms

from farm.models import Farm, Species, Strain
from farm.pages.costs.card_forms import FIELDS
from farm.pages.fields import AmountField, RowField
from farm.pages.recording_form import FarmForm
from farm.planning.inputs import Input, InputKind, Known
from farm.templatetags.farm_format import percent
from farm.units import UnitError
from ledger.errors import Malformed


class RatioField(AmountField):
    """So many to one, parts per million inside."""

    def hint(self) -> str:
        return "Such as 9.5, for 9.5 to 1"

    def read(self, text: str) -> int:
        try:
            ratio = Decimal(text.replace("to 1", "").replace(",", ".").strip())
        except InvalidOperation:
            ratio = Decimal("NaN")
        if not ratio.is_finite() or not 0 < ratio <= 1000:
            raise UnitError(f'"{text}" is not a ratio: type a number such as 9.5.')
        return round(ratio * 1_000_000)

    def show(self, value: int) -> str:
        return f"{(Decimal(value) / 1_000_000).quantize(Decimal('0.01')).normalize():f} to 1"


BY_KIND: Mapping[InputKind, type[AmountField]] = {**FIELDS, InputKind.RATIO: RatioField}


class ChosenField(RowField):
    """A row where the page itself has chosen what is usual."""

    def use_farm(self, farm: Farm) -> None:
        super().use_farm(farm)
        self.empty_label = None


class StrainForm(FarmForm):
    strain = ChosenField(queryset=Strain.objects.select_related("species"))


class SpeciesForm(FarmForm):
    species = ChosenField(queryset=Species.objects.all())


class KnownForm(FarmForm):
    """Numbers under headings; a blank one is what stands above its box."""

    def __init__(
        self,
        data: Mapping[str, Any],
        *,
        farm: Farm,
        inputs: Mapping[str, tuple[Input, ...]],
        known: Mapping[str, Known],
    ) -> None:
        super().__init__(data, farm=farm)
        self.known = known
        self.groups = {title: [one.key for one in group] for title, group in inputs.items()}
        for one in (one for group in inputs.values() for one in group):
            self._offer(one)

    def values(self) -> dict[str, int]:
        """What was typed, else what is known; refuses, naming what neither says."""
        values = {key: one.value for key, one in self.known.items()}
        values |= {key: value for key, value in self.cleaned_data.items() if value is not None}
        missing = [str(self.fields[key].label).lower() for key in self.fields if key not in values]
        if missing:
            raise Malformed(f"Not known yet: {'; '.join(missing)}. Type them below.")
        return {key: values[key] for key in self.fields}

    def laid_out(self) -> Iterator[tuple[str, list[forms.BoundField], bool]]:
        """Give each group's title and fields; all are open, since there are few."""
        for title, names in self.groups.items():
            yield title, [self[name] for name in names], True

    def _offer(self, one: Input) -> None:
        per = f"of {one.per}" if one.kind is InputKind.SHARE else one.per
        field = BY_KIND[one.kind](label=f"{one.label}, {per}".removesuffix(", "), required=False)
        self.add(one.key, field)
        found = self.known.get(one.key)
        if found is None:
            field.help_text = "Not known"
            return
        is_share = one.kind is InputKind.SHARE
        shown = percent(found.value) if is_share else str(field.show(found.value))
        field.help_text = f"{shown} · {found.source}"
        field.widget.attrs["placeholder"] = shown
