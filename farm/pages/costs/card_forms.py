"""The cost card's two forms: what it is of, and the numbers, which are known where left blank."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model

from farm.models import ByProductWay, Farm
from farm.pages.fields import (
    AmountField,
    CountField,
    MassField,
    MoneyField,
    PercentField,
    RowField,
)
from farm.pages.recording_form import FarmForm
from farm.planning.inputs import GROUPS, Input, InputKind, Known
from farm.queries.costs.card_choice import Choice, Offered
from farm.queries.costs.card_inputs import UNKNOWN_PRICE, CardInputs
from farm.templatetags.farm_format import percent
from farm.units import UnitError

MOST_MINUTES, LONGEST = 1_440, 30  # a day; of what is typed, as much as is said again


class MinutesField(AmountField):
    """Minutes with decimals, whole seconds inside."""

    def read(self, text: str) -> int:
        try:
            minutes = Decimal(text.replace("min", "").replace(",", ".").strip())
        except InvalidOperation:
            minutes = Decimal("NaN")
        if not minutes.is_finite() or not 0 <= minutes <= MOST_MINUTES:
            raise UnitError(
                f'"{text[:LONGEST]}" is not a number of minutes: type one such as 12 or 7.5.'
            )
        return round(minutes * 60)

    def show(self, value: int) -> str:
        return f"{value / 60:.2f}".rstrip("0").rstrip(".") + " min"


class ListedField(RowField):
    """One of some rows that were read already; ``none``: what it says to choose none of them."""

    def __init__(self, rows: Sequence[Model], *, none: str | None = None, **options: Any) -> None:
        super().__init__(None, required=none is None, empty_label=none, **options)
        self.rows = rows

    def use_farm(self, farm: Farm) -> None:
        """Know its rows already."""

    def to_python(self, value: object) -> Model | None:
        if value in self.empty_values:
            return None
        name = self.to_field_name or "pk"
        found = (row for row in self.rows if str(getattr(row, name)) == str(value))
        if (row := next(found, None)) is None:
            raise ValidationError(self.error_messages["invalid_choice"], params={"value": value})
        return row


BESIDE = (
    ("", "as the farm counts them"),
    (ByProductWay.SHARED.value, "share the cost by what they are worth"),
    (ByProductWay.TAKEN_OFF.value, "are taken off the cost of the crop"),
)
FIELDS: Mapping[InputKind, type[AmountField]] = {
    InputKind.COUNT: CountField,
    InputKind.MASS: MassField,
    InputKind.MONEY: MoneyField,
    InputKind.SHARE: PercentField,
    InputKind.MINUTES: MinutesField,
}


def said(kind: InputKind, value: int, farm: Farm) -> str:
    """Show a number as the card's fields do, a share to a tenth of a percent."""
    if kind is InputKind.SHARE:
        return percent(value)
    field = FIELDS[kind]()
    field.use_farm(farm)
    return str(field.show(value))


class ChoiceForm(FarmForm):
    """Of which recipe, strain, pack and selling place the card is; what is usual is chosen."""

    def __init__(self, data: Mapping[str, Any], *, farm: Farm, offered: Offered) -> None:
        super().__init__(data, farm=farm)
        self.add("strain", ListedField(offered.strains))
        self.add("recipe", ListedField(offered.recipes))
        self.add("product", ListedField(offered.products, label="Pack"))
        self.add("place", ListedField(offered.places, label="Selling place"))
        newest, none = "The newest of the strain", "No, of a lot"
        spawn = ListedField(offered.spawn, label="Spawn lot", none=newest, to_field_name="code")
        self.add("spawn", spawn)
        by_recipe = ListedField(offered.grain_recipes, label="Or spawn by its recipe", none=none)
        self.add("spawn_recipe", by_recipe)
        self.add("steriliser", ListedField(offered.sterilisers, none="not stated"))
        self.add(
            "beside",
            forms.ChoiceField(
                label="Trim and spent blocks that are sold", required=False, choices=BESIDE
            ),
        )

    def choice(self) -> Choice:
        return Choice(**self.cleaned_data)


class NumberForm(FarmForm):
    """Every number of the card; a blank one is what the hint says, with where that is from."""

    def __init__(self, data: Mapping[str, Any], *, farm: Farm, found: CardInputs) -> None:
        super().__init__(data, farm=farm)
        self.found = found
        self.groups: dict[str, list[str]] = {}
        for title, inputs in GROUPS.items():
            for one in inputs:
                self._offer(title, one, found.values.get(one.key))
        self._add(
            "What comes of it",
            "lost_count",
            CountField(label="Or: blocks lost, counted", noun="blocks", required=False),
        )
        self.fields["lost_count"].help_text = "Instead of the share, if you plan a count"
        self._offer_prices(found)
        self._offer_asked(found.asked_money)

    def typed(self) -> dict[str, int]:
        return {key: value for key, value in self.cleaned_data.items() if value is not None}

    def laid_out(self) -> Iterator[tuple[str, list[forms.BoundField], bool]]:
        """Give each group's title, fields, and whether something in it needs to be seen."""
        for title, names in self.groups.items():
            is_open = any(self[name].errors or self[name].data for name in names)
            yield title, [self[name] for name in names], is_open

    def _offer(self, title: str, one: Input, known: Known | None) -> None:
        label = f"{one.label}, {'of ' if one.kind is InputKind.SHARE else ''}{one.per}"
        field = FIELDS[one.kind](label=label.removesuffix(", "), required=False)
        self._add(title, one.key, field)
        self._explain(field, known, one.kind)

    def _offer_prices(self, found: CardInputs) -> None:
        for at, (part, source) in enumerate(
            zip(found.ingredients, found.price_sources, strict=True)
        ):
            per = "a kilo" if part.is_weighed else "a piece"
            field = MoneyField(label=f"{part.name}, {per}", required=False)
            self._add("Prices of ingredients", f"price_{at}", field)
            known = None if part.price_money == UNKNOWN_PRICE else Known(part.price_money, source)
            self._explain(field, known, InputKind.MONEY)

    def _offer_asked(self, asked_money: int | None) -> None:
        field = MoneyField(label="Asked now, a pack, tax in it", required=False)
        self._add("Packing and selling", "asked_money", field)
        known = Known(asked_money, "farm details: the price there") if asked_money else None
        self._explain(field, known, InputKind.MONEY)

    def _add(self, title: str, name: str, field: AmountField) -> None:
        self.add(name, field)
        self.groups.setdefault(title, []).append(name)

    def _explain(self, field: AmountField, known: Known | None, kind: InputKind) -> None:
        """Say above the box what blank stands for; an asked price may be blank for none."""
        if known is None:
            field.help_text = "Not known"
            return
        shown = said(kind, known.value, self.farm)
        field.help_text = f"{shown} · {known.source}"
        field.widget.attrs["placeholder"] = shown
