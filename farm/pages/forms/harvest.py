"""The pick, and the end of the blocks."""

from typing import Any

from django import forms

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.harvesting import mark_spent, pick
from farm.models import Shelf, Stage
from farm.pages.forms.doing import DoingForm
from farm.pages.forms.fields import CountField, LotField, LotsField, MassField, RowField
from farm.queries.harvests import next_flush
from farm.queries.stock import lot_by_code, lots_on_hand


class PickForm(DoingForm):
    """Several lots of blocks may be picked together; what each gave only if weighed apart."""

    group_titles = {"gave": "What each gave, if weighed apart"}
    folded = ("gave",)
    blocks = LotsField(Stage.BLOCKS, label="From which blocks")
    flush = CountField(
        label="Flush",
        noun="flushes",
        help_text="1 for the first crop of these blocks, 2 for the next",
    )
    firsts_mg = MassField(label="Firsts")
    seconds_mg = MassField(label="Seconds", required=False)
    trim_mg = MassField(label="Trim", required=False)
    shelf = RowField(
        label="Put in the fridge at", queryset=Shelf.objects.select_related("room"), required=False
    )

    def build(self) -> None:
        field = self.fields["blocks"]
        assert isinstance(field, LotsField)
        if len(field.codes) > 1:
            self.offer_draws("gave", lots_on_hand(Stage.BLOCKS), weighed=True)
        only = field.codes[0] if len(field.codes) == 1 else ""
        lot = lot_by_code(self.initial.get("blocks", only))
        if lot:
            self.initial["blocks"] = [lot.code]
            self.initial.setdefault("flush", next_flush(lot))

    def run(self, doing: Doing) -> Recorded:
        said: dict[str, Any] = self.cleaned_data
        gave = {draw.lot.pk: draw.quantity for draw in self.drawn("gave")}
        return pick(
            doing,
            given=[Draw(lot, gave.get(lot.pk, 0)) for lot in said["blocks"]],
            flush=said["flush"],
            firsts_mg=said["firsts_mg"],
            seconds_mg=said["seconds_mg"] or 0,
            trim_mg=said["trim_mg"] or 0,
            shelf=said["shelf"],
        )


class SpentForm(DoingForm):
    lot = LotField(Stage.BLOCKS, label="Which blocks")
    all_of_them = forms.BooleanField(
        label="Every block of the lot is taken out",
        help_text="A block that goes earlier is a check with a loss",
    )

    def run(self, doing: Doing) -> Recorded:
        return mark_spent(doing, lot=self.cleaned_data["lot"])
