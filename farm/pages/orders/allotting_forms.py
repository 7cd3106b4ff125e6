"""Set lots aside for a day of an order, by hand."""

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from django import forms
from django.utils import timezone

from farm.actions.common import Doing, Draw
from farm.models import Farm, Person
from farm.pages.asking_form import SureForm
from farm.pages.fields import MassField, lot_label, quantity_field
from farm.queries.orders.allocations import sellable, suggested
from farm.queries.orders.orders import DueOrder, fits
from ledger.models import Lot


class SetAsideForm(SureForm):
    """A box for each lot that fits, filled in with what would be set aside by itself."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, farm: Farm, person: Person, due: DueOrder
    ) -> None:
        super().__init__(data, farm=farm, initial={"uuid": uuid4()})
        self.person = person
        lots = sellable(due)
        taken = suggested(due, lots)
        self.lots: list[Lot] = [
            lot for lot in lots if lot.pk in taken or any(fits(one.line, lot) for one in due.asked)
        ]
        for lot in self.lots:
            self._add_lot(lot, taken.get(lot.pk))

    def draws(self) -> list[Draw]:
        said = self.cleaned_data
        return [Draw(lot, said[f"lot_{lot.pk}"]) for lot in self.lots if said.get(f"lot_{lot.pk}")]

    def doing(self) -> Doing:
        said = self.cleaned_data
        return Doing(
            by=self.person,
            happened_at=timezone.now(),
            uuid=said["uuid"],
            sure=self.is_sure(),
        )

    def _add_lot(self, lot: Lot, taken: int | None) -> None:
        field = quantity_field(lot)
        field.label, field.required, field.initial = lot_label(lot, self.farm), False, taken
        if taken and isinstance(field, MassField):
            field.exact = (*field.exact, taken)
        self.add(f"lot_{lot.pk}", field)
        field.help_text = ""
