"""Fields that read amounts as growers type them, and find a lot by list or by code.

A field that depends on the farm (units, currency, lots on hand) is told of it by the form:
`use_farm`.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model
from django.forms.models import ModelChoiceIterator, ModelChoiceIteratorValue
from django.utils import timezone

from farm.habits import marked
from farm.models import Farm, Stage
from farm.queries.keeping import too_old_words
from farm.queries.stock import all_lots, lot_by_code, lots_near, lots_on_hand
from farm.templatetags.farm_format import amount_of, pressure_unit, temperature_unit
from farm.units import (
    UnitError,
    read_count,
    read_mass,
    read_money,
    read_pressure,
    read_temperature,
    show_mass,
    show_money,
    show_pressure,
    show_temperature,
)
from ledger.codes import is_code, tidy
from ledger.models import Dimension, Lot


class AmountField(forms.Field):
    """A text box whose number is read by `read`; a number box would lose what was mistyped."""

    farm: Farm
    blank_value: int | None = None
    keys: ClassVar[str] = "decimal"  # which keys a phone shows

    def __init__(self, **kwargs: Any) -> None:
        attrs = {"inputmode": self.keys, "autocomplete": "off"}
        kwargs.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(**kwargs)

    def use_farm(self, farm: Farm) -> None:
        self.farm = farm
        self.help_text = self.help_text or self.hint()

    def to_python(self, value: object) -> int | str | None:
        if value is None or not str(value).strip():
            return self.blank_value
        try:
            return self.read(str(value))
        except UnitError as refusal:
            raise ValidationError(str(refusal)) from refusal

    def prepare_value(self, value: object) -> object:
        return self.show(value) if isinstance(value, int) else value

    def hint(self) -> str:
        return ""

    def read(self, text: str) -> int | str:
        raise NotImplementedError

    def show(self, value: int) -> str:
        raise NotImplementedError


class MassField(AmountField):
    """A weight in any unit, milligrams inside.

    ``exact``: weights whose printed form stands for them to the milligram, so that “all of it”
    is all of it although it was printed to the gram.
    """

    def __init__(self, *, exact: Sequence[int] = (), **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.exact = tuple(exact)

    def use_farm(self, farm: Farm) -> None:
        super().use_farm(farm)
        self.widget.attrs["data-mass"] = self.unit  # a script shows the other units beside

    @property
    def unit(self) -> str:
        """What a number without a unit is in."""
        return self.farm.weight_unit

    def hint(self) -> str:
        one = "+".join(map(marked, ("5.2", "4.8")))
        return f"In {self.unit}, or with its unit: 5.6 kg, 12.4 lb, 250 g; or a sum: {one}"

    def read(self, text: str) -> int:
        for mass_mg in self.exact:
            if text.strip() == self.show(mass_mg):
                return mass_mg
        return read_mass(text, self.unit)

    def show(self, value: int) -> str:
        return show_mass(value, self.unit)


class MoneyField(AmountField):
    def hint(self) -> str:
        return f"In {self.farm.currency}, such as {marked('12.50')}"

    def read(self, text: str) -> int:
        return read_money(text, self.farm.currency)

    def show(self, value: int) -> str:
        places = 2 if value % 100 == 0 else 4
        return show_money(value, self.farm.currency, places)


class CountField(AmountField):
    """A whole number of pieces."""

    keys = "numeric"

    def __init__(self, *, noun: str = "pieces", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.noun = noun

    def read(self, text: str) -> int:
        return read_count(text, self.noun)

    def show(self, value: int) -> str:
        return str(value)


class PercentField(AmountField):
    """A share in percent, parts per million inside."""

    def hint(self) -> str:
        return f"In percent, such as 7 or {marked('57.5')}"

    def read(self, text: str) -> int:
        try:
            share_ppm = Decimal(text.replace("%", "").replace(",", ".").strip()) * 10_000
        except InvalidOperation:
            share_ppm = Decimal("NaN")
        if not share_ppm.is_finite() or not 0 <= share_ppm <= 1_000_000:
            raise UnitError(f'"{text}" is not a share: type a number from 0 to 100, such as 57.5.')
        return round(share_ppm)

    def show(self, value: int) -> str:
        return f"{(Decimal(value) / 10_000).normalize():f} %"


class TemperatureField(AmountField):
    keys = "text"  # the number keys of some phones have no minus, which a freezer's reading needs

    def hint(self) -> str:
        return f"In °{temperature_unit(self.farm)}, or with its unit: 121 C, 250 F"

    def read(self, text: str) -> int:
        return read_temperature(text, temperature_unit(self.farm))

    def show(self, value: int) -> str:
        return show_temperature(value, temperature_unit(self.farm))


class PressureField(AmountField):
    def hint(self) -> str:
        return f"As the gauge shows it, in {pressure_unit(self.farm)}, or with its unit: 15 psi"

    def read(self, text: str) -> int:
        return read_pressure(text, pressure_unit(self.farm))

    def show(self, value: int) -> str:
        return show_pressure(value, pressure_unit(self.farm))


class PlainAmountField(AmountField):
    """An amount whose unit is known only once the supply is: read by the form."""

    def read(self, text: str) -> str:
        return text

    def hint(self) -> str:
        return f"A weight ({self.farm.weight_unit} if no unit is typed), or pieces if counted"


def quantity_field(lot: Lot | None, **kwargs: Any) -> AmountField:
    """Make the field that reads a quantity of a lot in the lot's own unit.

    Without a lot, on a page that is kept for any, it takes either; it is read once it is sent.
    """
    if lot is None:
        return PlainAmountField(**kwargs)
    if lot.item.dimension == Dimension.COUNT:
        return CountField(**kwargs)
    return MassField(exact=(lot.quantity,), **kwargs)


def how_much(lot: Lot | None) -> str:
    """Word the label of a quantity; on a page that is kept for any lot, without its code."""
    return f"How much of {lot.code if lot else 'it'}"


# --- lots ------------------------------------------------------------------------------------


# What stands in a list of lots with none in it.
NONE = "None on hand"


class LotPick(forms.MultiWidget):
    """A list of the lots that fit, and a box for a code read off a tape."""

    template_name = "farm/parts/_lot_pick.html"
    use_fieldset = True

    def __init__(self) -> None:
        typed = forms.TextInput(
            attrs={
                "autocomplete": "off",
                "autocapitalize": "characters",
                "size": 8,
                "aria-label": "or the code on the tape",
                "placeholder": "or type its code",
            }
        )
        super().__init__({"list": forms.Select(attrs={"aria-label": "lot"}), "code": typed})

    def use_required_attribute(self, initial: object) -> bool:
        """One of the two will do: a browser that asked for both would let nobody through."""
        return False

    def decompress(self, value: object) -> list[str]:
        code = value.code if isinstance(value, Lot) else str(value or "")
        listed = {choice for choice, _ in self.widgets[0].choices}  # type: ignore[attr-defined]
        return [code, ""] if code in listed else ["", code]


class LotField(forms.Field):
    """One lot: chosen among those on hand that fit, or typed by its code. ``none``: of no lot."""

    widget = LotPick
    lots: Sequence[Lot] = ()

    def __init__(self, *stages: int, none: str = NONE, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.stages = stages
        self.none = none

    def use_farm(self, farm: Farm) -> None:
        self.offer(lots_on_hand(*self.stages), farm)

    def offer(self, lots: Sequence[Lot], farm: Farm) -> None:
        self.lots = lots
        choices = [(lot.code, lot_label(lot, farm)) for lot in lots]
        if len(choices) != 1:
            choices.insert(0, ("", "Choose a lot" if choices else self.none))
        self.widget.widgets[0].choices = choices  # type: ignore[attr-defined]

    def clean(self, value: object) -> Lot | None:
        listed, typed = value if isinstance(value, list) else (value, "")
        code = tidy(str(typed or listed or ""))
        if not code:
            if self.required:
                raise ValidationError("Choose a lot, or type its code.")
            return None
        lot = lot_by_code(code, self.lots)
        if lot is None:
            raise ValidationError(not_found(code))
        return lot


class LotBoxes(forms.CheckboxSelectMultiple):
    """Boxes to tick; where some are ticked already, the others are folded away below them."""

    template_name = "farm/parts/_lot_boxes.html"

    def get_context(self, name: str, value: object, attrs: dict[str, Any] | None) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        options = [one for _, group, _ in context["widget"]["optgroups"] for one in group]
        parted: dict[bool, list[Any]] = {True: [], False: []}
        for one in options:
            parted[one["selected"]].append(one)
        return context | {"ticked": parted[True], "others": parted[False]}


class LotsField(forms.MultipleChoiceField):
    """Several lots on hand, as boxes to tick."""

    widget = LotBoxes
    none = NONE

    def __init__(self, *stages: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.stages = stages

    def use_farm(self, farm: Farm) -> None:
        self.offer(lots_on_hand(*self.stages), farm)

    def offer(self, lots: Sequence[Lot], farm: Farm) -> None:
        self.lots = lots
        self.choices = [(lot.code, lot_label(lot, farm)) for lot in lots]
        if not lots:
            self.help_text = self.none

    def valid_value(self, value: str) -> bool:
        """Take any code: a form sent twice names lots that it emptied itself."""
        return True

    def clean(self, value: Sequence[str]) -> list[Lot]:
        codes = super().clean(value)
        lots = {lot.code: lot for lot in all_lots().filter(code__in=codes)}
        gone = [code for code in codes if code not in lots]
        if gone:
            raise ValidationError(not_found(gone[0]))
        return [lots[code] for code in codes]


def lot_label(lot: Lot, farm: Farm) -> str:
    """Name a lot in a list: “K7M4Q · Blue oyster · 38 blocks · tent B”, and what is amiss."""
    card = getattr(lot, "card", None)
    parts = [
        lot.code,
        lot_name(lot),
        amount_of(lot.quantity, lot, farm),
        getattr(lot, "where", ""),
        "on hold" if lot.held else "",
        too_old_words(card, timezone.localdate()) if card else "",
    ]
    return " · ".join(part for part in parts if part)


def lot_name(lot: Lot) -> str:
    """Say what a lot is: its strain's name, or the item's."""
    card = getattr(lot, "card", None)
    if card and card.strain and card.stage == Stage.SPAWN:
        return f"{card.strain} (generation {card.generation})"
    return (
        str(card.strain) if card and card.strain and card.stage == Stage.BLOCKS else lot.item.name
    )


def not_found(code: str) -> str:
    """Say why a typed code names no lot, and which lot it may have been meant to be."""
    if is_code(code):
        return f"There is no lot {code}. Read the tape again, or choose from the list."
    meant = ", ".join(lots_near(code))
    remedy = f"Did you mean {meant}?" if meant else "Read the tape again, or choose from the list."
    return f"“{code}” is not a lot's code: one sign is wrong or missing. {remedy}"


class RowChoices(ModelChoiceIterator):  # type: ignore[type-arg]
    """The rows that a field read when it was told of the farm, not read again to be listed."""

    field: "RowField"

    def __iter__(self) -> Iterator[tuple[ModelChoiceIteratorValue | str, str]]:
        if self.field.empty_label is not None:
            yield "", str(self.field.empty_label)
        yield from map(self.choice, self.field.rows)


class RowField(forms.ModelChoiceField):  # type: ignore[type-arg]
    """One row of a look-up; a single row is chosen already. ``most``: no more are listed."""

    iterator = RowChoices
    most: int | None = None
    rows: Sequence[Model] = ()

    def use_farm(self, farm: Farm) -> None:
        self.empty_label = "Choose" if self.required else "not stated"
        if self.queryset is None:
            return
        self.rows = list(self.queryset[: self.most])
        if self.required and len(self.rows) == 1:
            self.initial = self.rows[0].pk
            self.empty_label = None
        if not self.rows:
            name = self.queryset.model._meta.verbose_name
            self.help_text = f"No {name} yet: add one under Farm details"

    def to_python(self, value: object) -> Model | None:
        """Take a row that was read already; one that is not listed is asked for."""
        found = next((row for row in self.rows if str(row.pk) == str(value)), None)
        return found or super().to_python(value)
