"""Type a wall sheet up: the boxes of each sheet, row by row as they stand on paper."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, time
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.growing.checks import CAUSES, check
from farm.actions.growing.harvesting import pick
from farm.actions.records.records import Stated, keep_record
from farm.actions.signing import Signed, signed
from farm.actions.store.storing import weigh_again
from farm.models import Record
from farm.pages.clock import ClockField
from farm.pages.fields import CountField, MassField, lot_name
from farm.pages.recording_form import FAST_CLOCK, initials_field, pin_field
from farm.pages.records.record_forms import form_field
from farm.pages.row_forms import RowsForm
from farm.pages.store.store_forms import MISSING
from farm.queries.day import wall_sheets as sheets
from farm.queries.day.wall_sheets import SheetRow
from farm.records import BY_SLUG, STORE
from farm.templatetags.farm_format import amount_of
from ledger.models import Lot


class WallForm(RowsForm[SheetRow]):
    """Each row may have its own time and initials; what is blank is as for the whole sheet."""

    folded: ClassVar[tuple[str, ...]] = ("at", "initials", "pin")

    def boxes(self, row: SheetRow) -> Mapping[str, forms.Field]:
        """What this sheet asks of a row."""
        raise NotImplementedError

    def fields_of(self, thing: SheetRow) -> Mapping[str, forms.Field]:
        clock = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
        at = forms.TimeField(label="Time", required=False, widget=clock)
        own = {"at": at, "initials": initials_field(), "pin": pin_field()}
        found = {**self.boxes(thing), **own}
        for name in own:
            found[name].help_text = ""
        return found

    def name_of(self, thing: SheetRow) -> str:
        return thing.name

    def label_of(self, thing: SheetRow) -> str:
        if thing.lot is None:
            return thing.name
        amount = amount_of(thing.lot.quantity, thing.lot, self.farm)
        amount = "empty by now" if thing.is_empty else amount
        return f"{thing.lot.code} · {lot_name(thing.lot)} · {amount} · {thing.place}"

    def hint_of(self, thing: SheetRow) -> str:
        return f"Recorded for this day: {', '.join(thing.recorded)}" if thing.recorded else ""

    def doing_of(self, key: str, said: Mapping[str, Any]) -> Doing:
        doing = super().doing_of(key, said)
        if said["at"]:
            doing = replace(doing, happened_at=self.at_time(said["at"]))
        if said["initials"]:
            who = signed(self.typed_by or self.person, said["initials"], said["pin"] or "")
            doing = replace(
                doing, by=who.by, typed_by=who.typed_by if who.by != who.typed_by else None
            )
        return doing

    def at_time(self, clock: time) -> datetime:
        """A time of the sheet's day, on the farm's clock."""
        day = timezone.localtime(self.cleaned_data["when"]).date()
        field = ClockField()
        when: datetime = field.clean(f"{day}T{clock:%H:%M}")
        if when > timezone.now() + FAST_CLOCK:
            raise ValidationError("This is later than now. State when it was done.")
        return when


class PicksForm(WallForm):
    typed = ("firsts", "seconds", "trim")

    def boxes(self, row: SheetRow) -> Mapping[str, forms.Field]:
        flush = CountField(label="Flush", noun="flushes", initial=row.flush, required=False)
        weights = {name: MassField(label=name.capitalize(), required=False) for name in self.typed}
        return {"flush": flush, **weights}

    def run_row(self, thing: SheetRow, said: Mapping[str, Any], doing: Doing) -> Recorded:
        firsts_mg, seconds_mg, trim_mg = (said[name] or 0 for name in self.typed)
        return pick(
            doing,
            given=[Draw(_lot(thing), 0)],
            flush=said["flush"] or thing.flush,
            firsts_mg=firsts_mg,
            seconds_mg=seconds_mg,
            trim_mg=trim_mg,
        )


class ChecksForm(WallForm):
    typed = ("grown", "lost")

    def boxes(self, row: SheetRow) -> Mapping[str, forms.Field]:
        digits = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
        grown = forms.IntegerField(
            label="Grown through, in percent",
            min_value=0,
            max_value=100,
            required=False,
            widget=digits,
        )
        lost = CountField(label="How many lost", required=False)
        causes = [("", "Nothing lost"), *((why, why) for why in CAUSES)]
        cause = forms.ChoiceField(label="Lost to what", required=False, choices=causes)
        return {"grown": grown, "lost": lost, "cause": cause}

    def run_row(self, thing: SheetRow, said: Mapping[str, Any], doing: Doing) -> Recorded:
        if said["grown"] is None:
            raise ValidationError(f"Lot {thing.name}: say how far it has grown through as well.")
        return check(
            doing, lot=_lot(thing), colonised_percent=said["grown"], lost=said["lost"] or 0
        )


class FridgeForm(WallForm):
    typed = ("weight",)
    asked_late = ("cause",)

    def boxes(self, row: SheetRow) -> Mapping[str, forms.Field]:
        causes = [("", "not known"), *((why, why) for why in MISSING)]
        cause = forms.ChoiceField(label="Why", choices=causes, required=False)
        return {"weight": MassField(label="Weight now", required=False), "cause": cause}

    def run_row(self, thing: SheetRow, said: Mapping[str, Any], doing: Doing) -> Recorded:
        return weigh_again(doing, lot=_lot(thing), weight_mg=said["weight"])


class TemperaturesForm(WallForm):
    """Morning and evening are two rows, so each needs its own time."""

    typed = ("read_milli_c",)
    folded = ("high_milli_c", "low_milli_c", "disposition", "initials", "pin")

    def boxes(self, row: SheetRow) -> Mapping[str, forms.Field]:
        kept = [field for field in BY_SLUG[STORE].fields if field.name != "thermometer"]
        return {field.name: _optional(form_field(field)) for field in kept}

    def run_row(self, thing: SheetRow, said: Mapping[str, Any], doing: Doing) -> Record:
        if said["at"] is None:
            raise ValidationError(f"{thing.name}: say at what time it was read.")
        names = [field.name for field in BY_SLUG[STORE].fields]
        stated = Stated(
            kind=BY_SLUG[STORE],
            happened_at=doing.happened_at,
            uuid=doing.uuid,
            values={name: said[name] for name in names if said.get(name) not in (None, "")},
            room=thing.room,
            note=doing.reason,
        )
        return keep_record(Signed(doing.by, doing.typed_by or doing.by), stated)


FORMS: Mapping[str, type[WallForm]] = {
    sheets.PICKS: PicksForm,
    sheets.CHECKS: ChecksForm,
    sheets.FRIDGE: FridgeForm,
    sheets.TEMPERATURES: TemperaturesForm,
}


def _optional(field: forms.Field) -> forms.Field:
    field.required = False
    return field


def _lot(row: SheetRow) -> Lot:
    assert row.lot
    return row.lot
