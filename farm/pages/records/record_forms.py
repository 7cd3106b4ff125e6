"""Forms of records: a kind's own fields, when it was done, who signs, and a number of its own."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from django.utils.datastructures import MultiValueDict

from farm.actions.records.records import Stated
from farm.actions.records.run_readings import USUAL_REFERENCE_MILLI_C, USUAL_Z_MILLI_C, Source
from farm.logger_file import ColumnQuestion, CountQuestion
from farm.logger_lines import LONGEST_LINE, ReadingsError
from farm.models import Farm, Room
from farm.pages.clock import ClockField, DayField
from farm.pages.fields import (
    AmountField,
    LotField,
    MassField,
    RowField,
    TemperatureField,
)
from farm.pages.recording_form import FAST_CLOCK, FarmForm, initials_field, pin_field
from farm.pages.records.export_forms import DaysForm
from farm.pages.uploads import READINGS, checked
from farm.reading_times import CLOCK, COUNTS, ELAPSED, MINUTES_SECONDS
from farm.readings import Reading, Units, decoded, read_readings
from farm.records import STORE, Field, Holds, RecordKind
from farm.templatetags.farm_format import pressure_unit, temperature_unit
from farm.units import read_temperature_rise, show_temperature_rise

SIGNING = ("note", "initials", "pin", "uuid")
# Asked only where a file has several that may be the temperature.
COLUMN = "column"


class RiseField(AmountField):
    """A difference of temperatures."""

    def hint(self) -> str:
        return f"In °{temperature_unit(self.farm)}, such as 1"

    def read(self, text: str) -> int:
        return read_temperature_rise(text, temperature_unit(self.farm))

    def show(self, value: int) -> str:
        return show_temperature_rise(value, temperature_unit(self.farm))


class SigningForm(FarmForm):
    """What every record has: a number of its own, and at a shared tablet who signs it."""

    initials = initials_field()
    pin = pin_field()
    uuid = forms.UUIDField(widget=forms.HiddenInput)


class RecordForm(SigningForm):
    """One record of a kind; of a correction, prefilled with what it corrects."""

    when = ClockField(label="When it was done")
    note = forms.CharField(max_length=300, required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        kind: RecordKind,
        farm: Farm,
        initial: Mapping[str, Any] | None = None,
        is_correction: bool = False,
    ) -> None:
        now = timezone.localtime().replace(second=0, microsecond=0)
        super().__init__(data, farm=farm, initial={"when": now, "uuid": uuid4(), **(initial or {})})
        self.kind = kind
        if kind.asks_room:
            rooms = Room.objects.all()
            needed = kind.slug == STORE
            self.add("room", RowField(queryset=rooms, required=needed, label="Fridge or room"))
        for field in kind.fields:
            self.add(field.name, form_field(field))
        if kind.asks_lot:
            self.add("lot", LotField(required=False, label="Lot"))
        if is_correction:
            self.fields["note"].required = True
            self.fields["note"].label = "Why it is corrected"
        self.order_fields(
            ["when", *(n for n in self.fields if n not in ("when", *SIGNING)), *SIGNING]
        )

    def clean_when(self) -> datetime:
        when: datetime = self.cleaned_data["when"]
        if when > timezone.now() + FAST_CLOCK:
            raise ValidationError("This is later than now. State when it was done.")
        return when

    def stated(self) -> Stated:
        said = self.cleaned_data
        typed = {field.name: said.get(field.name) for field in self.kind.fields}
        return Stated(
            kind=self.kind,
            happened_at=said["when"],
            uuid=said["uuid"],
            values={
                name: value.isoformat() if isinstance(value, date) else value
                for name, value in typed.items()
                if value not in (None, "")
            },
            room=said.get("room"),
            lot=said.get("lot"),
            note=said["note"],
        )


def form_field(field: Field) -> forms.Field:
    """Make the box that reads a field as growers type it."""
    known: dict[str, Any] = {
        "label": field.label,
        "required": field.required,
        "initial": field.usual,
        "help_text": field.hint,
    }
    amounts = {Holds.TEMPERATURE: TemperatureField, Holds.RISE: RiseField, Holds.MASS: MassField}
    if field.holds in amounts:
        return amounts[field.holds](**known)
    if field.holds is Holds.CHOICE:
        first = [("", "Choose")]
        return forms.ChoiceField(choices=[*first, *((c, c) for c in field.choices)], **known)
    if field.holds is Holds.DATE:
        return DayField(**known)
    return forms.CharField(max_length=300, **known)


class ReadingsForm(SigningForm):
    """The readings of a run: a logger's file, or typed line by line."""

    file = forms.FileField(
        label="A logger's file",
        required=False,
        help_text="CSV: time, temperature and, if there is one, gauge pressure. A head line says "
        "which column is which",
    )
    counts = forms.ChoiceField(
        label="Times in the file are",
        required=False,
        choices=[
            ("", "as its head says"),
            *COUNTS.items(),
            (ELAPSED, "hours:minutes:seconds since the start"),
            (MINUTES_SECONDS, "minutes:seconds since the start"),
            (CLOCK, "the clock"),
        ],
    )
    typed = forms.CharField(
        label="Or typed, a reading a line",
        required=False,
        help_text="Minutes from the start or the clock, the temperature, the gauge: 14:05 118.2 98",
        widget=forms.Textarea(attrs={"rows": 8}),
    )
    temperature_in = forms.ChoiceField(
        label="Temperature is in", choices=[("C", "°C"), ("F", "°F")]
    )
    pressure_in = forms.ChoiceField(
        label="Gauge pressure is in", choices=[(u, u) for u in ("kPa", "bar", "psi")]
    )
    start = ClockField(
        label="Start of the readings", help_text="Minute 0, and the day of a bare clock"
    )
    probe = forms.CharField(
        label="Where the probe was",
        max_length=60,
        help_text="The core of a block says most; the chamber says least",
    )
    reference_milli_c = TemperatureField(label="Reference temperature of F0")
    z_milli_c = RiseField(label="z, the rise that kills ten times as fast")

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        files: "MultiValueDict[str, UploadedFile[bytes]] | None" = None,
        *,
        farm: Farm,
        start: datetime,
    ) -> None:
        initial = {
            "uuid": uuid4(),
            "start": timezone.localtime(start),
            "temperature_in": temperature_unit(farm),
            "pressure_in": pressure_unit(farm),
            "reference_milli_c": USUAL_REFERENCE_MILLI_C,
            "z_milli_c": USUAL_Z_MILLI_C,
        }
        super().__init__(data, farm=farm, initial=initial)
        self.files = files or MultiValueDict()
        self.readings: tuple[Reading, ...] = ()
        self.left_out: tuple[str, ...] = ()
        if COLUMN in self.data:
            self.ask_column()
        self.order_fields(["file", COLUMN, *(n for n in self.fields if n not in SIGNING)])

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        file, typed = said.get("file"), said.get("typed", "").strip()
        if bool(file) == bool(typed):
            self.add_error("typed", "Give a file or type the readings, one of the two.")
        elif file and self.may_read():
            self.read(decoded(file), "file")
        elif self.may_read():
            self.read(said["typed"], "typed")
        return said

    def may_read(self) -> bool:
        """Say whether all is there that tells how the readings are written."""
        return {"start", "counts", "temperature_in", "pressure_in"} <= self.cleaned_data.keys()

    def clean_file(self) -> bytes | None:
        file = self.cleaned_data["file"]
        self.file_name = file.name if file else ""
        return checked(file, READINGS) if file else None

    def read(self, text: str, name: str) -> None:
        said = self.cleaned_data
        start = timezone.localtime(said["start"])
        try:
            found = read_readings(
                text,
                self.units(),
                start,
                counts=said["counts"],
                column=said.get(COLUMN),
                is_typed=name == "typed",
            )
        except ColumnQuestion as question:
            self.ask_column(question.columns)
            self.add_error(COLUMN, str(question))
        except CountQuestion as question:
            self.add_error("counts", str(question))
        except ReadingsError as refusal:
            self.add_error(name, str(refusal).split("\n"))
        else:
            self.readings, self.left_out = found.readings, found.left_out

    def ask_column(self, columns: Sequence[tuple[int, str]] = ()) -> None:
        """Ask which column of the file is meant; which there are is known once it was read."""
        choices = [("", "Choose a column"), *((str(number), head) for number, head in columns)]
        self.add(
            COLUMN,
            forms.IntegerField(
                label="Which column is the temperature",
                required=False,
                min_value=1,
                max_value=LONGEST_LINE,
                widget=forms.Select(choices=choices),
            ),
        )

    def units(self) -> Units:
        said = self.cleaned_data
        return Units(said["temperature_in"], said["pressure_in"])

    def source(self) -> Source:
        said = self.cleaned_data
        return Source(
            name=self.file_name[-80:] if said.get("file") else "typed",
            units=self.units(),
            probe=said["probe"],
            reference_milli_c=said["reference_milli_c"],
            z_milli_c=said["z_milli_c"],
        )


def newest(back: timedelta) -> tuple[date, date]:
    """The days from so many back until today."""
    today = timezone.localdate()
    return today - back, today


class UsualDaysForm(DaysForm):
    """From which day to which; where nothing is typed, the usual days."""

    first = DayField(label="First day")
    last = DayField(label="Last day")

    def __init__(self, data: Mapping[str, Any], *, usual: tuple[date, date]) -> None:
        """Take what is typed, and the usual days where nothing is."""
        super().__init__(
            {"first": data.get("first") or usual[0], "last": data.get("last") or usual[1]}
        )
