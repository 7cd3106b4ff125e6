"""What was in the till of a stall: asked when its day is settled, and whenever it is counted again.

The difference is never shown before the count is sent: what is expected would be counted.
"""

from collections.abc import Mapping
from typing import Any

from django import forms

from farm.actions.selling.cashing import CashCount
from farm.models import CashUp, CashWord, SellingPlace, Token
from farm.pages.clock import DayField
from farm.pages.fields import CountField, MoneyField, RowField
from farm.pages.recording_form import FarmForm

CASH = ("cash_money", "card_money", "card_count", "paid_out_money", "float_money")


class CashForm(FarmForm):
    """Count the till again, or say what a difference is put down to."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    cash_money = MoneyField(label="Cash in the till", help_text="Float and all")

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        place: SellingPlace,
        known: CashUp | None,
        **given: Any,
    ) -> None:
        super().__init__(data, **given)
        before = _count_of(known) if known else CashCount(place.float_money, 0)
        if known:
            self.initial["cash_money"] = known.cash_money
        add_till(self, place, initial=before)
        word = forms.ChoiceField(
            label="If it differs, why",
            choices=[("", "not said"), *CashWord.choices],
            required=False,
            initial=before.word,
        )
        self.add("word", word)

    def count(self) -> CashCount:
        return cash_count(self.cleaned_data)


def add_till(form: FarmForm, place: SellingPlace, *, initial: CashCount) -> None:
    """Ask what else paid, and the float; card payments only where each costs a fee."""
    form.add(
        "card_money",
        MoneyField(label="By card, in all", required=False, initial=initial.card_money or None),
    )
    if place.card_fee_each_money:
        form.add(
            "card_count",
            CountField(
                label="Card payments, how many", required=False, initial=initial.card_count or None
            ),
        )
    for token in place.tokens.all():
        form.add(
            f"token_{token.pk}",
            CountField(
                label=f"{token}, how many", required=False, initial=initial.tokens.get(token.pk)
            ),
        )
    form.add(
        "paid_out_money",
        MoneyField(
            label="Paid out of the till",
            required=False,
            help_text="The fee, if it was paid in cash",
            initial=initial.paid_out_money or None,
        ),
    )
    form.add(
        "float_money",
        MoneyField(label="Float at the start", required=False, initial=initial.float_money),
    )


def cash_count(said: Mapping[str, Any]) -> CashCount:
    tokens = {name: said[name] for name in said if name.startswith("token_")}
    return CashCount(
        float_money=said.get("float_money") or 0,
        cash_money=said["cash_money"],
        card_money=said.get("card_money") or 0,
        card_count=said.get("card_count") or 0,
        paid_out_money=said.get("paid_out_money") or 0,
        tokens={int(name.removeprefix("token_")): number or 0 for name, number in tokens.items()},
        word=said.get("word", ""),
    )


def _count_of(known: CashUp) -> CashCount:
    return CashCount(
        known.float_money,
        known.cash_money,
        known.card_money,
        known.card_count,
        known.paid_out_money,
        dict(known.tokens.values_list("token_id", "count")),
        known.word,
    )


class TokensPaidForm(FarmForm):
    """What the issuer of tokens paid."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    token = RowField(label="Which tokens", queryset=Token.objects.select_related("place"))
    day = DayField(label="Paid on")
    amount = MoneyField(label="How much")

    def tokens(self) -> list[Token]:
        """The kinds of token that it offers, as they were read."""
        field = self.fields["token"]
        assert isinstance(field, RowField)
        return [row for row in field.rows if isinstance(row, Token)]
