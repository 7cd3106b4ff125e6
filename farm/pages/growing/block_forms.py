"""Blocks: filled, inoculated, checked, moved to fruiting."""

from django import forms

from farm.actions.common import Doing, Recorded
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks, move, move_to_fruiting
from farm.actions.growing.checks import CAUSES, check
from farm.actions.growing.scrap import Scrap
from farm.kinds.growing import CHECK, FILL_BLOCKS, INOCULATE_BLOCKS, MOVE, MOVE_TO_FRUITING
from farm.models import RecipeFor, Shelf, Stage
from farm.pages.fields import CountField, LotField, MoneyField, RowField
from farm.pages.growing.by_product_forms import ByWorthForm
from farm.pages.growing.grain_forms import FillForm
from farm.pages.recording_form import DoingForm, FirstForm
from farm.queries.growing.recipes import newest_versions
from farm.queries.stock import lots_on_hand

SHELVES = Shelf.objects.select_related("room")


class BlocksFirst(FirstForm):
    recipe = RowField(queryset=newest_versions(RecipeFor.BLOCKS))
    count = CountField(label="How many blocks", noun="blocks")


class FillBlocksForm(FillForm):
    kind = FILL_BLOCKS
    first = BlocksFirst

    def run(self, doing: Doing) -> Recorded:
        return fill_blocks(
            doing,
            recipe=self.given["recipe"],
            count=self.given["count"],
            draws=self.drawn("draws"),
        )


class InoculateBlocksForm(DoingForm):
    kind = INOCULATE_BLOCKS
    group_titles = {"spawn": "Spawn used, of each lot"}
    bags = LotField(Stage.BAGS, label="Which filled bags")
    count = CountField(label="How many", noun="bags")
    shelf = RowField(label="Put on shelf", queryset=SHELVES, required=False)

    def build(self) -> None:
        self.offer_draws("spawn", lots_on_hand(Stage.SPAWN), stages=[Stage.SPAWN])

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return inoculate_blocks(
            doing,
            bags=said["bags"],
            count=said["count"],
            spawn=self.drawn("spawn"),
            shelf=said["shelf"],
        )


class CheckForm(ByWorthForm):
    kind = CHECK
    lot = LotField(Stage.SPAWN, Stage.BLOCKS, label="Which spawn or blocks")
    colonised_percent = forms.IntegerField(
        label="How far grown through, in percent",
        min_value=0,
        max_value=100,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    lost = CountField(
        label="How many lost", required=False, initial=0, help_text="Taken out and binned"
    )
    cause = forms.ChoiceField(
        label="Lost to what",
        required=False,
        choices=[("", "Nothing lost"), *((cause, cause) for cause in CAUSES)],
    )
    passed = CountField(
        label="How many were looked at and passed",
        required=False,
        help_text="Blank: all of the rest, which stay this lot; a number gets its own lot",
    )

    scrap_money = MoneyField(
        label="What the lost ones are still worth, together",
        required=False,
        help_text="Blank: nothing. Else they become a lot to sell. Its worth lowers the loss of "
        "those beyond plan; of those planned to be lost it is taken off what the others cost, "
        "or shares it with them, as the farm counts by-products",
    )
    crop_kg_money = MoneyField(
        label="A kilo of the crop of the others is worth",
        required=False,
        help_text="Only beside the worth above: the two share what the blocks cost",
    )

    def doing(self) -> Doing:
        return self.because(self.cleaned_data["cause"])

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        worth = said["scrap_money"]
        return check(
            doing,
            lot=said["lot"],
            colonised_percent=said["colonised_percent"],
            lost=said["lost"] or 0,
            passed=said["passed"],
            scrap=Scrap(worth, said.get("crop_kg_money") or 0) if worth else None,
        )


class MoveToFruitingForm(DoingForm):
    kind = MOVE_TO_FRUITING
    lot = LotField(Stage.BLOCKS, label="Which blocks")
    shelf = RowField(label="To which shelf", queryset=SHELVES)

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return move_to_fruiting(doing, lot=said["lot"], shelf=said["shelf"])


class MoveForm(DoingForm):
    kind = MOVE
    lot = LotField(label="Which lot")
    shelf = RowField(label="To which shelf", queryset=SHELVES)

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return move(doing, lot=said["lot"], shelf=said["shelf"])
