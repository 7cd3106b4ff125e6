"""Packing: which picks into which packs; and what packs weigh."""

from django import forms
from django.core.exceptions import ValidationError

from farm.actions.common import Doing, Recorded
from farm.actions.store.check_weights import check_weights
from farm.actions.store.packing import pack
from farm.kinds.store import CHECK_WEIGHTS, PACK
from farm.models import Farm, Form, Product, Shelf, Stage
from farm.pages.fields import CountField, LotField, MassField, RowField
from farm.pages.recording_form import DoingForm, FirstForm
from farm.queries.keeping import is_past
from farm.queries.stock import last_shelf, lots_on_hand, oldest_taken
from farm.queries.store.check_weights import filling_of
from farm.units import UnitError, read_mass, show_mass
from ledger.models import Lot


class PackFirst(FirstForm):
    product = RowField(queryset=Product.objects.select_related("species"))
    packs = CountField(label="How many packs", noun="packs")


class PackForm(DoingForm):
    """Lots to draw from are prefilled with what is to be filled, the oldest good pick first.

    Packs that must hold 200 g on their last day are filled with more: 20 of 220 g are 4.40 kg.
    """

    kind = PACK
    first = PackFirst
    group_titles = {"draws": "From which lots"}
    shelf = RowField(
        label="Where they are put", queryset=Shelf.objects.select_related("room"), required=False
    )

    def build(self) -> None:
        product: Product = self.given["product"]
        packs: int | None = self.given["packs"]
        # Pouches stand on a dry shelf, and punnets in the cold.
        self.initial.setdefault("shelf", last_shelf(PACK, product__form=product.form))
        stage = Stage.CROP if product.form == Form.FRESH else Stage.DRIED
        lots = [lot for lot in lots_on_hand(stage) if lot.card.species_id == product.species_id]
        day, self.filling = self.initial_day(), filling_of(product, self.farm.weight_unit)
        usable = [lot for lot in lots if lot.card.grade != "trim" and not is_past(lot.card, day)]
        taken = oldest_taken(usable, self.filling.fill_mg * (packs or 0))
        self.offer_draws("draws", lots, taken, stages=[stage])
        if packs is None:
            rows = [row for row in self.groups["draws"] if row[0] in usable]
            self.share_out(str(product), self.filling.fill_mg, rows, by="packs")

    def warning(self) -> str:
        """How full to fill, so that packs still hold what they declare on their last day."""
        filling = self.filling
        fill = small_words(filling.fill_mg, self.farm)
        declared = small_words(filling.product.net_mg, self.farm)
        days = f" after {filling.loss.days} days" if filling.loss.days else ""
        return f"Fill {fill} to hold {declared}{days}, in 95 % of packs."

    def run(self, doing: Doing) -> Recorded:
        return pack(
            doing,
            product=self.given["product"],
            packs=self.given["packs"],
            draws=self.drawn("draws"),
            shelf=self.cleaned_data["shelf"],
        )


class WeightsField(forms.CharField):
    """Several weights, parted by commas, blanks or lines; grams or ounces unless a unit is typed.

    A decimal comma is not read here: it parts two weights. All the keys are shown, as the number
    keys of some phones have neither a blank nor a new line.
    """

    widget = forms.Textarea(attrs={"rows": 3, "autocomplete": "off"})
    farm: Farm

    def use_farm(self, farm: Farm) -> None:
        self.farm = farm
        self.help_text = (
            f"In {small_unit(farm)}, with a decimal point, parted by blanks or lines: 161 159 160.5"
        )

    def clean(self, value: object) -> list[int]:
        typed = str(super().clean(value)).replace(",", " ").replace(";", " ").split()
        try:
            return [read_mass(part, small_unit(self.farm)) for part in typed]
        except UnitError as refusal:
            raise ValidationError(str(refusal)) from refusal


class TareField(MassField):
    """The weight of an empty pack, in grams or ounces unless a unit is typed."""

    @property
    def unit(self) -> str:
        return small_unit(self.farm)

    def hint(self) -> str:
        return f"In {self.unit}; of the product, unless it is another pack"


class CheckWeightsFirst(FirstForm):
    lot = LotField(Stage.PACKS, label="Which packs")


class CheckWeightsForm(DoingForm):
    """Some packs on the scale, as they are sold: with the pack around them."""

    kind = CHECK_WEIGHTS
    first = CheckWeightsFirst
    weights = WeightsField(label="What each weighs, with its pack")
    tare = TareField(label="An empty pack weighs")
    scale = forms.CharField(
        label="Scale", required=False, max_length=60, help_text="Which one, and its seal"
    )

    def build(self) -> None:
        lot: Lot | None = self.given["lot"]
        if lot and lot.card.product:
            self.initial.setdefault("tare", lot.card.product.tare_mg)

    def warning(self) -> str:
        kitchen = "A kitchen scale is for your own check; trade asks for a verified one."
        return f"Ten packs say a lot; two are the fewest that show how they scatter. {kitchen}"

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return check_weights(
            doing,
            lot=self.given["lot"],
            tare_mg=said["tare"],
            gross_mg=said["weights"],
            scale=said["scale"],
        )


def small_unit(farm: Farm) -> str:
    return "oz" if farm.weight_unit == "lb" else "g"


def small_words(mass_mg: int, farm: Farm) -> str:
    return show_mass(mass_mg, small_unit(farm))
