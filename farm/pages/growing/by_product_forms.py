"""The one worth that is missing where by-products share the cost of the crop by worth."""

from datetime import date

from django.core.exceptions import ValidationError
from django.utils import timezone

from farm.models import ByProductWay
from farm.pages.fields import LotField
from farm.pages.recording_form import DoingForm
from farm.queries.growing.by_products import by_product_way
from farm.queries.selling.prices import usual_kg_money
from farm.queries.stock import lot_by_code


class ByWorthForm(DoingForm):
    """Asks what a kilo of the crop is worth (``crop_kg_money``) only where it is used.

    It comes filled in with the usual price, where all lots that may be meant are of one species.
    """

    def build(self) -> None:
        day = self._day()
        if by_product_way(day) == ByProductWay.TAKEN_OFF:
            del self.fields["crop_kg_money"]
        elif not self.is_bound:
            self.initial.setdefault("crop_kg_money", self._usual_money(day))

    def _day(self) -> date:
        """The day that was typed, else the one that the form opens with."""
        try:
            return timezone.localtime(self.fields["when"].clean(self.data["when"])).date()
        except (KeyError, ValidationError):
            return self.initial_day()

    def _usual_money(self, day: date) -> int | None:
        field = self.fields["lot"]
        assert isinstance(field, LotField)
        chosen = lot_by_code(str(self.initial.get("lot", "")), field.lots)
        found = {lot.card.species for lot in ([chosen] if chosen else field.lots)}
        (species,) = found if len(found) == 1 else (None,)
        return usual_kg_money(species, day) if species else None
