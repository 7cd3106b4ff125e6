"""The till of a stall: one tap, and another price from now on."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from farm.models import Discount, TapOf
from farm.pages.fields import MoneyField, quantity_field
from farm.pages.recording_form import FarmForm
from farm.queries.selling.till import TillGoods

BACK = "back"


class TillPriceForm(FarmForm):
    """Another price from now on."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    item = forms.ChoiceField(label="Of what")
    unit_money = MoneyField(label="Price of one from now on")
    why = forms.ChoiceField(label="Why", choices=Discount.choices)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        goods: Sequence[TillGoods],
        **given: Any,
    ) -> None:
        super().__init__(data, **given)
        self.goods = {str(one.item.pk): one for one in goods}
        self.fields["item"].choices = [  # type: ignore[attr-defined]
            (key, str(one.item)) for key, one in self.goods.items()
        ]


class TapForm(FarmForm):
    """One tap: which product, and whether it was sold, given away, or the last tap taken back."""

    uuid = forms.UUIDField()
    item = forms.IntegerField()
    what = forms.ChoiceField(choices=[*TapOf.choices, (BACK, BACK)])
    unit_money = forms.IntegerField(required=False, min_value=0)
    amount = forms.CharField(required=False)

    def of(self) -> str:
        what: str = self.cleaned_data["what"]
        return TapOf.SOLD if what == BACK else what

    def quantity_of(self, goods: TillGoods) -> int:
        """One piece, or the weight that was typed; -1 takes the last tap back, however much."""
        if self.cleaned_data["what"] == BACK:
            return -1
        if goods.is_counted:
            return 1
        field = quantity_field(goods.lots[0])
        self.tell(field)
        read: int = field.clean(self.cleaned_data["amount"])
        return read
