"""Hold and release lots; say why an entry is taken back; state the right quantity."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django import forms
from django.http import QueryDict

from farm.actions.common import Doing, Recorded
from farm.actions.tracing.holding import hold, release
from farm.kinds.tracing import HOLD, RELEASE
from farm.models import Farm
from farm.pages.asking_form import SureForm
from farm.pages.fields import LotField, MassField, MoneyField, quantity_field
from farm.pages.recording_form import DoingForm
from farm.queries.entries import Standing
from farm.queries.stock import held_lots
from ledger.models import Role


class HoldForm(DoingForm):
    kind = HOLD
    reason_label = "What was found"
    lot = LotField(label="Which lot")

    def build(self) -> None:
        self.fields["reason"].required = True

    def run(self, doing: Doing) -> Recorded:
        return hold(doing, [self.cleaned_data["lot"]])


class ReleaseForm(DoingForm):
    kind = RELEASE
    reason_label = "Why it may be used again"
    lot = LotField(label="Which lot", none="Nothing is on hold")

    def build(self) -> None:
        self.fields["reason"].required = True
        field = self.fields["lot"]
        assert isinstance(field, LotField)
        field.offer(held_lots(), self.farm)

    def run(self, doing: Doing) -> Recorded:
        return release(doing, [self.cleaned_data["lot"]])


@dataclass(frozen=True)
class Before:
    """What a line said before it was corrected, in an address; nothing where it was not."""

    quantity: int | None = None
    money: int | None = None

    @classmethod
    def read(cls, address: QueryDict) -> "Before":
        typed = (address.get(name, "") for name in ("was", "money"))
        return cls(*(int(text) if text.isdecimal() and len(text) < 16 else None for text in typed))

    def said(self) -> dict[str, str]:
        said = {"was": self.quantity, "money": self.money}
        return {name: str(number) for name, number in said.items() if number is not None}


class CorrectForm(SureForm):
    """The right quantity of one line of an entry, prefilled with what it says now, or before."""

    reason = forms.CharField(label="Why it was wrong", required=False, max_length=300)
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    field_order = ["right_quantity", "right_money"]

    def __init__(
        self,
        data: Mapping[str, Any] | None,
        *,
        farm: Farm,
        line: Standing,
        sees_money: bool,
        before: Before,
    ) -> None:
        super().__init__(data, farm=farm, initial={"uuid": uuid4()})
        now = abs(line.now) or line.gave_now_mg
        right = now if before.quantity is None else before.quantity
        if line.gave_now_mg:
            self.add("right_quantity", MassField(label="Weight it really gave", initial=right))
        else:
            self.add(
                "right_quantity", quantity_field(line.lot, label="Right quantity", initial=right)
            )
        field = self.fields["right_quantity"]
        if isinstance(field, MassField):
            field.exact = (right, now)
        if sees_money and line.role in (Role.BOUGHT, Role.SOLD):
            paid = line.money_now if line.role == Role.BOUGHT else None
            paid = paid if before.money is None else before.money
            self.add(
                "right_money",
                MoneyField(label=MONEY_ASKED[line.role], required=False, initial=paid),
            )
        self.order_fields(self.field_order)


MONEY_ASKED: Mapping[str, str] = {
    Role.BOUGHT: "What was really paid",
    Role.SOLD: "What was really asked for the line, if not by the price",
}
