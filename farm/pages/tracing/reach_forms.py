"""What may be wrong, why it is held or released or called back."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from farm import habits
from farm.models import Room, Supplier
from farm.pages.clock import DayField
from farm.queries.finding import UnknownLotError, find_lot
from farm.queries.tracing.suspects import (
    Suspects,
    cultures_kept,
    runs_kept,
    suspect_culture,
    suspect_lots,
    suspect_place,
    suspect_run,
    suspect_supplier_lot,
)
from ledger.models import Entry, Lot

KINDS = ("codes", "run", "culture", "room", "supplier")


class RunField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, run: Entry) -> str:
        return f"{habits.short_day(run.happened_on)}, entry {run.seq}"


class CultureField(forms.ModelChoiceField):  # type: ignore[type-arg]
    def label_from_instance(self, lot: Lot) -> str:
        return f"{lot.code} · {lot.item.name} · {habits.short_day(lot.made_by.happened_on)}"


def _day(label: str) -> DayField:
    return DayField(label=label, required=False)


class ReachForm(forms.Form):
    """One kind of suspects; ``suspects`` once it is valid."""

    codes = forms.CharField(
        label="Codes of lots",
        required=False,
        help_text="One or several, as they stand on the tapes",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    run = RunField(queryset=Entry.objects.none(), label="A steriliser run", required=False)
    culture = CultureField(queryset=Lot.objects.none(), label="A culture", required=False)
    room = forms.ModelChoiceField(Room.objects.all(), label="What stood in a room", required=False)
    first = _day("from")
    last = _day("to")
    supplier = forms.ModelChoiceField(
        Supplier.objects.all(), label="A supplier's lot: from", required=False
    )
    supplier_lot = forms.CharField(
        label="the supplier's lot mark",
        required=False,
        max_length=60,
        help_text="As it was written down on delivery",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    suspects: Suspects

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, rows in (("run", runs_kept()), ("culture", cultures_kept())):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows

    def clean_codes(self) -> list[Lot]:
        codes = self.cleaned_data["codes"].replace(",", " ").split()
        try:
            return [find_lot(code) for code in dict.fromkeys(codes)]
        except UnknownLotError as refusal:
            raise ValidationError(str(refusal)) from refusal

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        given = [name for name in KINDS if said.get(name)]
        if self.errors:
            return said
        if len(given) != 1:
            raise ValidationError(
                "Give codes, or one run, culture, room or supplier's lot; one kind at a time."
            )
        self._check_whole(said)
        if not self.errors:
            self.suspects = self._suspects(given[0], said)
            if not self.suspects.lots:
                raise ValidationError(f"The book knows nothing of {self.suspects.words}.")
        return said

    def _check_whole(self, said: dict[str, Any]) -> None:
        if said.get("room") and not (said.get("first") and said.get("last")):
            self.add_error("first", "Give the first and the last day.")
        elif said.get("room") and said["first"] > said["last"]:
            self.add_error("last", f"{said['last']} is before the first day, {said['first']}.")
        if said.get("supplier") and not said.get("supplier_lot", "").strip():
            self.add_error("supplier_lot", "Type the lot mark that stands on the sack.")

    def _suspects(self, kind: str, said: dict[str, Any]) -> Suspects:
        if kind == "room":
            return suspect_place(said["room"], said["first"], said["last"])
        if kind == "supplier":
            return suspect_supplier_lot(said["supplier"], said["supplier_lot"])
        by_kind = {"codes": suspect_lots, "run": suspect_run, "culture": suspect_culture}
        return by_kind[kind](said[kind])  # type: ignore[operator, no-any-return]

    @property
    def others_open(self) -> bool:
        """Say whether something beside the codes was filled in."""
        return any(self.data.get(name) for name in (*KINDS[1:], "supplier_lot"))


class ReasonForm(forms.Form):
    """Why, and the form's own number, so that sending it twice has one effect."""

    reason = forms.CharField(label="Why", max_length=300)
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    @classmethod
    def new(cls, label: str, reason: str = "", prefix: str | None = None) -> "ReasonForm":
        form = cls(initial={"uuid": uuid4(), "reason": reason[:300]}, auto_id=f"{prefix}_%s")
        form.fields["reason"].label = label
        return form


class RecallForm(ReasonForm):
    """``back``: how far back the fault lies, where that was not asked for already."""

    back = forms.ChoiceField(
        label="How far back does the fault lie?",
        help_text="If you do not know, take the furthest that you cannot rule out.",
        widget=forms.RadioSelect,
        required=False,
    )

    @classmethod
    def asking(
        cls,
        ways: Sequence[tuple[str, str]],
        data: Mapping[str, Any] | None = None,
    ) -> "RecallForm":
        """Ask how far back it lies, where there is a choice; ``ways``: addresses and words."""
        form = cls(data, initial={"uuid": uuid4()}, auto_id="recall_%s")
        form.fields["reason"].label = "What was found, and where"
        field = form.fields["back"]
        assert isinstance(field, forms.ChoiceField)
        if len(ways) < 2:
            del form.fields["back"]
        else:
            field.choices, field.required = list(ways), True
        return form


class NoticeForm(forms.Form):
    text = forms.CharField(label="Words of the notice", widget=forms.Textarea(attrs={"rows": 16}))
