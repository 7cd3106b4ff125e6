"""The pick, and the end of the blocks."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms

from farm import habits
from farm.actions.common import Doing, Draw, Recorded
from farm.actions.growing.harvesting import Valued, keep_spent, mark_spent, pick, pick_by_value
from farm.kinds.growing import KEEP_SPENT_BLOCKS, PICK, SPENT
from farm.models import Grade, Shelf, Stage
from farm.pages.fields import (
    CountField,
    LotField,
    LotsField,
    MassField,
    MoneyField,
    RowField,
)
from farm.pages.growing.by_product_forms import ByWorthForm
from farm.pages.recording_form import DoingForm, DrawGroup
from farm.queries.growing.block_picks import flushes_offered
from farm.queries.stock import lot_by_code
from ledger.errors import Malformed
from ledger.models import Lot

WORTH = {f"{grade.value}_kg_money": grade for grade in Grade}


class PickForm(DoingForm):
    """Several lots of blocks may be picked together; what each gave only if weighed apart."""

    kind = PICK
    group_titles = {"gave": "What each gave, if weighed apart"}
    folded = ("gave",)
    blocks = LotsField(Stage.BLOCKS, label="From which blocks")
    flush = CountField(
        label="Flush",
        noun="flushes",
        required=False,
        help_text="1 for the first crop of these blocks, 2 for the next; blank: by their picks "
        "around that day",
    )
    firsts_mg = MassField(label="Firsts")
    seconds_mg = MassField(label="Seconds", required=False)
    trim_mg = MassField(label="Trim", required=False)
    shelf = RowField(
        label="Put in the fridge at", queryset=Shelf.objects.select_related("room"), required=False
    )
    firsts_kg_money = MoneyField(label="A kilo of firsts", required=False)
    seconds_kg_money = MoneyField(label="A kilo of seconds", required=False)
    trim_kg_money = MoneyField(label="A kilo of trim", required=False)

    def build(self) -> None:
        field = self.fields["blocks"]
        assert isinstance(field, LotsField)
        if len(field.lots) > 1:
            self.offer_draws("gave", field.lots, weighed=True)
        code = self.initial.get("blocks", field.lots[0].code if len(field.lots) == 1 else "")
        lot = lot_by_code(code, field.lots)
        if lot:
            self.initial["blocks"] = [lot.code]
            self.initial.setdefault("flush", flushes_offered([lot], self.initial_day())[lot.pk])
        # On a page that a phone keeps, what is offered today would be stale on the day it is sent.
        self.fields["flush"].widget.attrs["data-of-today"] = ""

    def run(self, doing: Doing) -> Recorded:
        said: dict[str, Any] = self.cleaned_data
        gave = {draw.lot.pk: draw.quantity for draw in self.drawn("gave")}
        given = [Draw(lot, gave.get(lot.pk, 0)) for lot in said["blocks"]]
        flush, shelf = said["flush"] or flush_of(said["blocks"], doing.day), said["shelf"]
        weights = {grade: said[f"{grade.value}_mg"] or 0 for grade in Grade}
        if any(said[name] is not None for name in WORTH):
            worth = {grade: said[name] or 0 for name, grade in WORTH.items()}
            grades = {grade: Valued(mg, worth[grade]) for grade, mg in weights.items()}
            return pick_by_value(doing, given=given, flush=flush, grades=grades, shelf=shelf)
        by_name = {f"{grade.value}_mg": mg for grade, mg in weights.items()}
        return pick(doing, given=given, flush=flush, shelf=shelf, **by_name)

    def own_fields(self) -> Iterator[forms.BoundField]:
        return (field for field in super().own_fields() if field.name not in WORTH)

    def draw_groups(self) -> list[DrawGroup]:
        """Fold away what is seldom stated: what the grades are worth, to share the cost by it."""
        rows = [[self[name]] for name in WORTH]
        is_folded = not any(self.data.get(name) for name in WORTH)
        title = "Share the cost by worth, not by weight"
        return [*super().draw_groups(), DrawGroup(title, rows, is_folded)]


def flush_of(blocks: Sequence[Lot], day: date) -> int:
    """The flush that all of these blocks are offered on a day; refuses where they differ."""
    offered = flushes_offered(blocks, day)
    if len(set(offered.values())) > 1:
        named = ", ".join(f"flush {offered[lot.pk]} of lot {lot.code}" for lot in blocks)
        raise Malformed(
            f"On {habits.day(day)} it would be {named}. State the flush, or record one pick each.",
            [lot.code for lot in blocks],
        )
    return next(iter(offered.values()))


class KeepSpentForm(ByWorthForm):
    """Spent blocks to sell: they share the cost of the blocks by worth, or are taken off it."""

    kind = KEEP_SPENT_BLOCKS
    lot = LotField(Stage.BLOCKS, label="Of which blocks")
    worth_money = MoneyField(
        label="What is kept is worth, together", help_text="Mark the blocks spent afterwards"
    )
    crop_kg_money = MoneyField(
        label="A kilo of the crop is worth", help_text="The two share what the blocks cost"
    )
    kept_mg = MassField(
        label="Weight kept",
        required=False,
        help_text="Blank: the blocks on hand as filled, less what was picked",
    )

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return keep_spent(
            doing,
            lot=said["lot"],
            worth_money=said["worth_money"],
            crop_kg_money=said.get("crop_kg_money", 0),
            kept_mg=said["kept_mg"] or 0,
        )


class SpentForm(DoingForm):
    kind = SPENT
    lot = LotField(Stage.BLOCKS, label="Which blocks")
    all_of_them = forms.BooleanField(
        label="Every block of the lot is taken out",
        help_text="A block that goes earlier is a check with a loss",
    )

    def run(self, doing: Doing) -> Recorded:
        return mark_spent(doing, lot=self.cleaned_data["lot"])
