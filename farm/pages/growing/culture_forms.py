"""Keep cultures going: transfer them, clone them from a pick."""

from collections.abc import Iterator
from typing import Any

from django import forms

from farm.actions.common import Doing, Recorded
from farm.actions.growing.cultures import Worth, clone_culture, transfer_culture
from farm.kinds.growing import CLONE_CULTURE, TRANSFER_CULTURE
from farm.models import Stage, Use
from farm.pages.fields import CountField, LotField, MassField, MoneyField
from farm.pages.recording_form import DoingForm, DrawGroup
from farm.queries.stock import supplies_on_hand

WORTH = ("worth_money", "crop_kg_money")


class MediumForm(DoingForm):
    """What the culture was put on: dishes, agar, jars, if the farm books them."""

    group_titles = {"medium": "On what medium"}

    def build(self) -> None:
        self.offer_draws("medium", supplies_on_hand(Use.CULTURE))


class TransferForm(MediumForm):
    kind = TRANSFER_CULTURE
    source = LotField(Stage.CULTURE, label="From which culture")
    used = CountField(label="Portions used up", noun="portions", initial=1)
    portions = CountField(label="Portions made", noun="portions")

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return transfer_culture(
            doing,
            source=said["source"],
            used=said["used"],
            portions=said["portions"],
            medium=self.drawn("medium"),
        )


class CloneForm(MediumForm):
    kind = CLONE_CULTURE
    source = LotField(Stage.CROP, label="From which pick")
    piece_mg = MassField(label="Weight of the piece taken")
    portions = CountField(label="Portions made", noun="portions")
    worth_money = MoneyField(label="What the piece is worth", required=False)
    crop_kg_money = MoneyField(label="A kilo of the pick", required=False)

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        blank = [name for name in WORTH if said.get(name) is None and name not in self.errors]
        if len(blank) == 1:
            self.add_error(blank[0], "State both worths, or leave both blank to go by weight.")
        return said

    def own_fields(self) -> Iterator[forms.BoundField]:
        return (field for field in super().own_fields() if field.name not in WORTH)

    def draw_groups(self) -> list[DrawGroup]:
        rows = [[self[name]] for name in WORTH]
        is_folded = not any(self.data.get(name) for name in WORTH)
        return [
            *super().draw_groups(),
            DrawGroup("Take the cost by worth, not by weight", rows, is_folded),
        ]

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        by_worth = said["worth_money"] is not None
        return clone_culture(
            doing,
            source=said["source"],
            piece_mg=said["piece_mg"],
            portions=said["portions"],
            medium=self.drawn("medium"),
            worth=Worth(said["worth_money"], said["crop_kg_money"]) if by_worth else None,
        )
