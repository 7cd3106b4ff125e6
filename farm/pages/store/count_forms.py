"""Count what is somewhere, and answer what differs from the book."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError

from farm.actions.common import Doing
from farm.actions.growing.checks import CAUSES
from farm.actions.signing import Signed
from farm.actions.store.counting import Counted
from farm.models import Answered, Farm, Person, Room, Stage
from farm.pages.fields import lot_label, lot_name, not_found, quantity_field
from farm.pages.recording_form import DoingForm, FarmForm
from farm.pages.store.store_forms import MISSING
from farm.queries.stock import lot_by_code
from farm.queries.store.counts import Checked, Verdict
from farm.queries.store.in_store import STORED
from farm.templatetags.farm_format import amount_of
from ledger.codes import tidy
from ledger.models import Lot

WHAT = (("stored", "picked, dried and packed"), ("supplies", "supplies"), ("all", "everything"))
STAGES: Mapping[str, tuple[int, ...]] = {"stored": STORED, "supplies": (Stage.SUPPLY,), "all": ()}
MORE = range(2)  # lots found where the book does not have them


class WhereForm(FarmForm):
    """Which place and which lots; ``hidden`` hides what the book says while one counts."""

    room = forms.ModelChoiceField(
        Room.objects.all(), label="Where", required=False, empty_label="everywhere"
    )
    what = forms.ChoiceField(label="What", choices=WHAT, required=False)
    hidden = forms.BooleanField(label="Hide what the book says while I count", required=False)

    def stages(self) -> tuple[int, ...]:
        return STAGES[self.cleaned_data["what"] or "stored"]


class CountForm(DoingForm):
    """One box a lot; blank is not counted, 0 is not there."""

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        lots: Sequence[Lot],
        hidden: bool,
    ) -> None:
        self.lots, self.hidden = list(lots), hidden
        super().__init__(data, farm=farm, person=person)
        del self.fields["reason"]

    def build(self) -> None:
        for lot in [*self.lots, *self.sent_before("found", self.lots)]:
            field = quantity_field(lot)
            field.label, field.required = self._label(lot), False
            self.groups.setdefault("found", []).append((lot, f"found_{lot.pk}"))
            self.add(f"found_{lot.pk}", field)
            field.help_text = ""
        for at in MORE:
            self.add(
                f"code_{at}",
                forms.CharField(
                    label="Code of another lot found here", max_length=8, required=False
                ),
            )
            self.add(
                f"amount_{at}",
                forms.CharField(label="How much of it", max_length=30, required=False),
            )

    def clean(self) -> dict[str, Any]:
        """Read what was found beyond the list: a code, and an amount in that lot's own unit."""
        self.more: list[tuple[Lot, int | None]] = []
        for at in MORE:
            try:
                self._read_more(at)
            except ValidationError as refusal:
                self.add_error(f"code_{at}", refusal)
        return self.cleaned_data

    def counted(self, room: Room | None, ended_at: datetime | None) -> Counted:
        said = self.cleaned_data
        found = [(lot, said.get(name)) for lot, name in self.groups.get("found", [])]
        return Counted(
            uuid=said["uuid"],
            happened_at=said["when"],
            room=room,
            hidden=self.hidden,
            found=[*found, *self.more],
            ended_at=ended_at,
            sure=self.sure(),
        )

    def more_fields(self) -> list[forms.BoundField]:
        return [self[f"{name}_{at}"] for at in MORE for name in ("code", "amount")]

    def _label(self, lot: Lot) -> str:
        if not self.hidden:
            return lot_label(lot, self.farm)
        return f"{lot.code} · {lot_name(lot)} · {getattr(lot, 'where', '') or 'place not stated'}"

    def _read_more(self, at: int) -> None:
        code, amount = (self.cleaned_data.get(f"{name}_{at}", "") for name in ("code", "amount"))
        if not code and not amount:
            return
        lot = lot_by_code(tidy(code)) if code else None
        if lot is None:
            raise ValidationError(not_found(tidy(code)) if code else "Type its code as well.")
        box = f"found_{lot.pk}"
        if self.cleaned_data.get(box) is not None or any(lot == known for known, _ in self.more):
            raise ValidationError(
                f"Lot {lot.code} is counted twice. Count it once, with all of it."
            )
        field = quantity_field(lot)
        self.tell(field)
        found = field.clean(amount)
        if box in self.fields:
            self.cleaned_data[box] = found  # it came into the list after this page was opened
        else:
            self.more.append((lot, found))


@dataclass(frozen=True)
class AnswerRow:
    checked: Checked
    said: str
    fields: tuple[forms.BoundField, ...]


class AnswersForm(FarmForm):
    """What to do about each difference that is open; blank leaves it open."""

    def __init__(
        self, data: Mapping[str, Any] | None = None, *, farm: Farm, checked: Sequence[Checked]
    ) -> None:
        super().__init__(data, farm=farm)
        self.checked = [one for one in checked if one.is_open]
        for one in self.checked:
            key = one.line.pk
            choices = [("", "later"), *((way.value, WORDS[way]) for way in one.choices)]
            usual = one.choices[0].value if one.verdict is Verdict.INSIDE else ""
            self.add(
                f"do_{key}",
                forms.ChoiceField(label="Do", choices=choices, required=False, initial=usual),
            )
            self.add(f"why_{key}", forms.ChoiceField(label="Why", choices=WHYS, required=False))
            self.add(f"note_{key}", forms.CharField(label="Note", max_length=200, required=False))
            number = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
            self.add(f"uuid_{key}", number)

    def rows(self) -> Iterator[AnswerRow]:
        for one in self.checked:
            asked = ("do", "note") if one.verdict is Verdict.INSIDE else ("do", "why", "note")
            shown = tuple(self[f"{name}_{one.line.pk}"] for name in asked)
            yield AnswerRow(one, found_words(one, self.farm), shown)

    def answered(self, signed: Signed) -> Iterator[tuple[Checked, Doing, Answered, str]]:
        said = self.cleaned_data
        for one in self.checked:
            key = one.line.pk
            if said.get(f"do_{key}"):
                why, note = said[f"why_{key}"], said[f"note_{key}"]
                reason = f"{why}: {note}" if why and note else why or note
                doing = Doing(
                    by=signed.by, happened_at=one.line.count.happened_at, uuid=said[f"uuid_{key}"]
                )
                yield one, doing, Answered(said[f"do_{key}"]), reason

    def refuse(self, one: Checked, refusal: str) -> None:
        self.add_error(f"do_{one.line.pk}", refusal)


WORDS = {
    Answered.WEIGHED: "weigh again: set to what was found",
    Answered.COUNTED: "set the book to what was found",
    Answered.LEFT: "leave it, with a note",
}
WHYS = [("", "not known"), *((why, why) for why in dict.fromkeys((*MISSING, *CAUSES)))]


def found_words(one: Checked, farm: Farm) -> str:
    """Say a difference: “9.20 kg found, 10.00 kg in the book: 0.80 kg less”."""
    line = one.line
    difference = one.difference or 0
    side = "more" if difference > 0 else "less"
    return (
        f"{amount_of(line.found or 0, line.lot, farm)} found, "
        f"{amount_of(line.book, line.lot, farm)} in the book: "
        f"{amount_of(abs(difference), line.lot, farm)} {side} ({one.verdict.value})"
    )
