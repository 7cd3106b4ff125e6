"""The forms of the first hour: name the farm, take over what to start from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError

from farm.actions.starting.starting import (
    Account,
    add_filling,
    add_rates,
    add_room,
    add_strain,
    start_farm,
)
from farm.beliefs import FILLINGS, PLANNED, ROOMS, Filling, Planned
from farm.kinds import TIMED
from farm.models import Farm, Person, RateOf, Recipe, Room, StandardTime, Strain
from farm.pages.fields import MoneyField
from farm.queries.costs.times import in_words
from farm.units import show_mass

HOURS = (
    (RateOf.PAID_HOUR, "A paid hour, wages with everything on top"),
    (RateOf.OWN_HOUR, "What an hour of your own is worth to you"),
    (RateOf.KWH, "A kilowatt-hour"),
    (RateOf.BLOCK_DAY, "One block's place on a shelf, a day (rent, heat, air)"),
)


class BeginForm(forms.ModelForm):  # type: ignore[type-arg]
    """Name the farm, and the first account, which is the owner's."""

    class Meta:
        model = Farm
        fields = ("name", "place", "time_zone", "currency", "weight_unit", "habit")
        labels = {"name": "Name of the farm"}
        help_texts = {"currency": "Three capital letters, such as EUR or USD"}

    time_zone = forms.ChoiceField(
        choices=[("", "Choose"), *((zone, zone) for zone in sorted(available_timezones()))],
        help_text="By the nearest large city",
    )
    account = forms.CharField(
        label="Your name, to sign in with", max_length=150, help_text="Letters, digits and . _ -"
    )
    password = forms.CharField(
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Ten characters or more; never shared with anybody",
    )

    def start(self) -> Person:
        """Make the farm and its owner; raises ValidationError by field."""
        said = self.cleaned_data
        return start_farm(self.save(commit=False), Account(said["account"], said["password"]))


@dataclass(frozen=True)
class Offer:
    """Something to take over: its name in the form, what it says, where the figures are from."""

    key: str
    title: str
    figures: str
    source: str
    is_there: bool


class TakeOverForm(forms.Form):
    """Tick what to start from; what is there already is not offered again."""

    strains = forms.MultipleChoiceField(required=False)
    fillings = forms.MultipleChoiceField(required=False)
    rooms = forms.MultipleChoiceField(required=False)

    def __init__(self, data: Mapping[str, Any] | None, *, farm: Farm, rated: set[str]) -> None:
        super().__init__(data)
        self.offered = {
            "strains": strain_offers(),
            "fillings": filling_offers(farm),
            "rooms": room_offers(),
        }
        for name, offers in self.offered.items():
            field = self.fields[name]
            assert isinstance(field, forms.MultipleChoiceField)
            field.choices = [(one.key, one.title) for one in offers if not one.is_there]
        for of, label in HOURS:
            if of not in rated:
                self.fields[of] = MoneyField(label=label, required=False)
                self.fields[of].use_farm(farm)  # type: ignore[attr-defined]

    def rates(self) -> list[Any]:
        """The fields that ask for a rate, for the template."""
        return [self[of] for of, _ in HOURS if of in self.fields]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not self.errors and not any(said.values()):
            raise ValidationError("Nothing is ticked or typed yet.")
        return said

    def take_over(self) -> None:
        said = self.cleaned_data
        for belief in PLANNED:
            if belief.species in said["strains"]:
                add_strain(belief, "house line")
        for filling in FILLINGS:
            if filling.name in said["fillings"]:
                add_filling(filling)
        for name, purpose, places in ROOMS:
            if name in said["rooms"]:
                add_room(name, purpose, holds_blocks=places)
        add_rates({of: said[of] for of, _ in HOURS if said.get(of) is not None})


def strain_offers() -> list[Offer]:
    there = set(Strain.objects.values_list("species__name", flat=True))
    return [
        Offer(
            one.species,
            f"{one.species} ({one.latin})",
            _days(one),
            one.source,
            one.species in there,
        )
        for one in PLANNED
    ]


def _days(one: Planned) -> str:
    grams = ", ".join(f"{mass_mg // 1000} g" for mass_mg in one.picked_mg if mass_mg)
    return (
        f"first pick {one.first_pick_days} days after inoculation, then every "
        f"{one.flush_gap_days}; flushes of {grams} picked a block, trim included; "
        f"{one.planned_loss_ppm / 10_000:.0f} % of blocks lost; keeps {one.fridge_days} days"
    )


def filling_offers(farm: Farm) -> list[Offer]:
    there = set(Recipe.objects.values_list("name", flat=True))
    return [
        Offer(one.name, one.name, _parts(one, farm), one.source, one.name in there)
        for one in FILLINGS
    ]


def _parts(one: Filling, farm: Farm) -> str:
    unit = "lb" if farm.weight_unit == "lb" else "g"
    weighed = [
        f"{show_mass(part.quantity, unit)} {part.supply.lower()}"
        for part in one.parts
        if not part.is_counted
    ]
    return ", ".join([*weighed, f"{show_mass(one.water_mg, unit)} water"])


def room_offers() -> list[Offer]:
    there = set(Room.objects.values_list("name", flat=True))
    return [
        Offer(
            name, name, purpose + (f", {places} block places" if places else ""), "", name in there
        )
        for name, purpose, places in ROOMS
    ]


def time_offers() -> list[Offer]:
    """The standard times, which are in force from the start; the farm's own where it changed one.

    Where nobody types minutes, these are charged.
    """
    believed = {(name, *usual[:2]): usual.source for name, usual in TIMED.items()}
    return [
        Offer(
            one.action,
            one.action.capitalize(),
            in_words(one),
            believed.get((one.action, one.minutes, one.unit_seconds), "your own figure"),
            True,
        )
        for one in StandardTime.objects.all()
    ]
