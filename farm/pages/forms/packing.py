"""Packing: which picks into which packs."""

from farm.actions.common import Doing, Recorded
from farm.actions.packing import pack
from farm.models import Form, Product, Shelf, Stage
from farm.pages.forms.doing import DoingForm, FirstForm
from farm.pages.forms.fields import CountField, RowField
from farm.queries.stock import last_shelf, lots_on_hand, oldest_taken


class PackFirst(FirstForm):
    product = RowField(queryset=Product.objects.select_related("species"))
    packs = CountField(label="How many packs", noun="packs")


class PackForm(DoingForm):
    """Lots to draw from are prefilled with the declared net weight, the oldest pick first."""

    first = PackFirst
    group_titles = {"draws": "From which lots"}
    shelf = RowField(
        label="Where they are put", queryset=Shelf.objects.select_related("room"), required=False
    )

    def build(self) -> None:
        self.initial.setdefault("shelf", last_shelf("pack"))
        product = self.given["product"]
        stage = Stage.CROP if product.form == Form.FRESH else Stage.DRIED
        lots = [lot for lot in lots_on_hand(stage) if lot.card.species_id == product.species_id]
        usable = [lot for lot in lots if lot.card.grade != "trim"]
        self.offer_draws("draws", lots, oldest_taken(usable, product.net_mg * self.given["packs"]))

    def run(self, doing: Doing) -> Recorded:
        return pack(
            doing,
            product=self.given["product"],
            packs=self.given["packs"],
            draws=self.drawn("draws"),
            shelf=self.cleaned_data["shelf"],
        )
