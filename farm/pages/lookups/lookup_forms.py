"""Forms of the look-ups; a field's kind follows from the ending of the model's field."""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import fields
from typing import Any

from django import forms
from django.db import models
from django.db.models import Model

from farm.actions.common import item_for
from farm.actions.lookups.lookups import Look
from farm.kinds import BY_NAME, TIMED
from farm.models import Farm, Person, RecipeVersion, Role, Supply
from farm.pages.clock import DayField
from farm.pages.fields import (
    AmountField,
    CountField,
    MassField,
    MoneyField,
    PercentField,
    PlainAmountField,
    RowField,
)
from farm.pages.lookups.growing_forms import ProductForm, SpeciesForm, SteriliserForm, StrainForm
from farm.pages.lookups.lookup_form import LookupForm
from farm.pages.recording_form import FarmForm
from ledger.models import Dimension

BY_ENDING: Mapping[str, type[AmountField]] = {
    "_mg": MassField,
    "_money": MoneyField,
    "_ppm": PercentField,
}
SPARE_LINES = 4


class SupplyForm(LookupForm):
    """A supply names its item: what it is called, and whether it is weighed or counted."""

    instance: Supply

    name = forms.CharField(max_length=120)
    dimension = forms.ChoiceField(
        label="Weighed or counted",
        choices=[(Dimension.MASS, "weighed"), (Dimension.COUNT, "counted")],
    )
    field_order = ["name", "dimension"]

    def __init__(self, *given: Any, **known: Any) -> None:
        super().__init__(*given, **known)
        piece = self.fields["piece_mg"]
        piece.help_text = f"Needed if counted. {piece.help_text}"
        if self.instance.pk:
            item = self.instance.item
            self.initial = {**self.initial, "name": item.name, "dimension": item.dimension}
            # Lots of it exist in this unit: it stays as it is.
            self.fields["dimension"].disabled = self.fields["name"].disabled = True

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        counted = said.get("dimension") == Dimension.COUNT
        if counted and not said.get("piece_mg"):
            self.add_error("piece_mg", "State what one piece weighs: counted lots have a mass.")
        taken = Supply.objects.filter(item__name=said.get("name")).exclude(pk=self.instance.pk)
        if taken.exists():
            self.add_error("name", "There is a supply of this name. Give another.")
        return said

    def save(self, commit: bool = True) -> Model:
        if not self.instance.pk:
            said = self.cleaned_data
            self.instance.item = item_for(said["name"], said["dimension"])
        saved: Model = super().save(commit)
        return saved


# The actions that charge their labour; a delivery is a sale.
TIMES = [(name, BY_NAME[name].words) for name in TIMED]


class StandardTimeForm(LookupForm):
    action = forms.ChoiceField(label="Action", choices=TIMES)


SPECIAL = {
    "supplies": SupplyForm,
    "standard-times": StandardTimeForm,
    "species": SpeciesForm,
    "strains": StrainForm,
    "sterilisers": SteriliserForm,
    "products": ProductForm,
}


def lookup_form(slug: str, model: type[Model], fields: Sequence[str]) -> type[LookupForm]:
    """Make the form class of a look-up."""
    base = SPECIAL.get(slug, LookupForm)
    made: type[LookupForm] = forms.modelform_factory(  # type: ignore[assignment]
        model,
        form=base,  # type: ignore[arg-type]
        fields=fields,
        formfield_callback=field_for,
    )
    return made


def field_for(field: "models.Field[Any, Any]", **known: Any) -> forms.Field | None:
    """Choose a form field by the ending of the model field's name."""
    for ending, kind in BY_ENDING.items():
        if field.name.endswith(ending):
            has_default = field.default is not models.NOT_PROVIDED
            initial = field.default if has_default else None
            label = str(field.verbose_name).capitalize()
            made = kind(label=label, required=not has_default, initial=initial)
            made.blank_value = None if made.required else 0
            return made
    if isinstance(field, models.DateField):
        known["form_class"] = DayField
    return field.formfield(**known)


# --- recipes ---------------------------------------------------------------------------------


class VersionForm(FarmForm):
    """A version of a recipe: water, planned loss, and a line for each ingredient."""

    water_mg = MassField(label="Water added to each")
    planned_loss_ppm = PercentField(label="Lost before inoculation", required=False)
    note = forms.CharField(max_length=200, required=False)

    def __init__(
        self, data: Mapping[str, Any] | None, *, farm: Farm, last: RecipeVersion | None
    ) -> None:
        lines = list(last.lines.select_related("supply__item")) if last else []
        initial = (
            {"water_mg": last.water_mg, "planned_loss_ppm": last.planned_loss_ppm} if last else {}
        )
        super().__init__(data, farm=farm, initial=initial)
        self.count = len(lines) + SPARE_LINES
        ingredient = RowField(queryset=Supply.objects.select_related("item"), required=False)
        self.tell(ingredient)
        for place in range(self.count):
            line = lines[place] if place < len(lines) else None
            field = deepcopy(ingredient)
            field.label, field.initial = f"Ingredient {place + 1}", line and line.supply_id
            self.fields[f"supply_{place}"] = field
            shown = shown_quantity(line.quantity, line.supply, farm) if line else None
            self.add(
                f"quantity_{place}",
                PlainAmountField(label="How much for each", required=False, initial=shown),
            )

    def rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        places = range(self.count)
        return [(self[f"supply_{place}"], self[f"quantity_{place}"]) for place in places]

    def head_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("water_mg", "planned_loss_ppm", "note")]

    def clean(self) -> dict[str, Any]:
        """Read each quantity in its supply's own unit, and gather the lines."""
        said = self.cleaned_data
        self.lines: dict[Supply, int] = {}
        for place in range(self.count):
            supply, typed = said.get(f"supply_{place}"), said.get(f"quantity_{place}")
            if supply and typed:
                self.read_line(place, supply, typed)
            elif supply or typed:
                self.add_error(f"quantity_{place}", "State both the ingredient and how much.")
        if not self.lines and not self.errors:
            self.add_error("supply_0", "Name at least one ingredient.")
        return said

    def read_line(self, place: int, supply: Supply, typed: str) -> None:
        field = unit_field(supply)
        self.tell(field)
        try:
            quantity = field.clean(typed)
        except forms.ValidationError as refusal:
            self.add_error(f"quantity_{place}", refusal)
            return
        if supply in self.lines:
            self.add_error(f"supply_{place}", f"{supply} stands twice. Add the two up.")
        self.lines[supply] = quantity


def unit_field(supply: Supply) -> AmountField:
    return CountField() if supply.item.dimension == Dimension.COUNT else MassField()


def shown_quantity(quantity: int, supply: Supply, farm: Farm) -> str:
    field = unit_field(supply)
    field.use_farm(farm)
    return field.show(quantity)


# --- people ----------------------------------------------------------------------------------


def _day(label: str) -> DayField:
    return DayField(label=label, required=False)


class PersonForm(forms.Form):
    """A sign-in of someone's own; blank password: it stays as it is."""

    name = forms.CharField(label="Name to sign in with", max_length=150)
    initials = forms.CharField(max_length=4, required=False, help_text="They sign entries")
    own_name = forms.CharField(
        label="Full name",
        max_length=120,
        required=False,
        help_text="Stands beside the initials in the binder of records",
    )
    role = forms.ChoiceField(choices=Role.choices)
    password = forms.CharField(
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Ten characters or more; never shared with anybody",
    )
    pin = forms.CharField(
        label="PIN",
        max_length=8,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
        help_text="Four to eight digits, to sign records at a tablet where somebody else is "
        "signed in; blank leaves it as it is",
    )
    from_day = _day("An inspector sees from")
    until_day = _day("An inspector sees until")
    expires_on = _day("An inspector's last day to look")

    def __init__(self, data: Mapping[str, Any] | None, *, person: Person | None) -> None:
        known = person and {
            "name": str(person),
            "initials": person.initials,
            "own_name": person.own_name,
            "role": person.role,
            **{one.name: getattr(person, one.name) for one in fields(Look)},
        }
        super().__init__(data, initial=known or {"role": Role.HELPER})
        if person:
            self.fields["name"].disabled = True
            self.fields["password"].label = "New password"
        else:
            self.fields["password"].required = True

    def look(self) -> Look:
        return Look(**{one.name: self.cleaned_data[one.name] for one in fields(Look)})
