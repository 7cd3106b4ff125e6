"""A form of many rows: blank is nothing, and each row that is typed in is an entry of its own."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar, Generic, TypeVar
from uuid import uuid4

from django import forms

from farm.actions.common import Doing, Recorded
from farm.models import Farm, Person, Record
from farm.pages.recording_form import QUESTIONS, REST, DoingForm

Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Row:
    """One row as it is shown; ``folded``: boxes that are seldom needed."""

    name: str
    hint: str
    boxes: tuple[forms.BoundField, ...]
    folded: tuple[forms.BoundField, ...]
    is_open: bool


class RowsForm(DoingForm, Generic[Thing]):
    """``things``: what each row is about, by the key that its boxes end in.

    ``typed``: the boxes that say that something happened. ``folded``: boxes that are seldom
    needed. ``asked_late``: boxes shown only once their row was asked about.
    """

    typed: ClassVar[tuple[str, ...]]
    folded: ClassVar[tuple[str, ...]] = ()
    asked_late: ClassVar[tuple[str, ...]] = ()

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        things: Mapping[str, Thing],
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        self.things = dict(things)
        self.names: dict[str, tuple[str, ...]] = {}
        super().__init__(data, farm=farm, person=person, initial=initial)

    def fields_of(self, thing: Thing) -> Mapping[str, forms.Field]:
        """The boxes of a row, by name."""
        raise NotImplementedError

    def name_of(self, thing: Thing) -> str:
        """How the row is named in a sentence."""
        raise NotImplementedError

    def label_of(self, thing: Thing) -> str:
        return self.name_of(thing)

    def hint_of(self, thing: Thing) -> str:
        return ""

    def run_row(self, thing: Thing, said: Mapping[str, Any], doing: Doing) -> Recorded | Record:
        """Call the action of one row with what was typed into it."""
        raise NotImplementedError

    # --- what was typed ----------------------------------------------------------------------

    def build(self) -> None:
        for key, thing in self.things.items():
            own = self.fields_of(thing)
            self.names[key] = tuple(own)
            for name, field in own.items():
                self.add(f"{name}_{key}", field)
            sure = forms.BooleanField(label=QUESTIONS["sure"], required=False)
            self.add(f"sure_{key}", sure)
            number = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
            self.add(f"uuid_{key}", number)

    def filled(self) -> Iterator[str]:
        """Give the keys of the rows that were typed in and can be read."""
        for key, names in self.names.items():
            boxes = [f"{name}_{key}" for name in self.typed]
            wrong = any(f"{name}_{key}" in self.errors for name in (*names, "uuid"))
            if not wrong and any(str(self.data.get(box, "")).strip() for box in boxes):
                yield key

    def said_of(self, key: str) -> dict[str, Any]:
        return {name: self.cleaned_data.get(f"{name}_{key}") for name in self.names[key]}

    def doing_of(self, key: str, said: Mapping[str, Any]) -> Doing:
        """Who did a row and when: as all the form says, under a number of its own."""
        uuid, sure = self.cleaned_data[f"uuid_{key}"], self.cleaned_data[f"sure_{key}"]
        return replace(self.because(said.get("cause") or ""), uuid=uuid, sure=sure)

    def is_wrong(self) -> bool:
        """Say whether what all rows share cannot be read, so that none can be recorded."""
        return any(name in self.errors for name in (*REST, "__all__"))

    def refuse(self, key: str, refusal: str) -> None:
        self.add_error(f"{self.typed[0]}_{key}", refusal)

    def ask_about(self, key: str, question: str) -> None:
        self.add_error(f"sure_{key}", question)

    def without(self, done: Sequence[str]) -> "RowsForm[Thing]":
        """The form without what is recorded, with everything typed and every refusal kept."""
        left = {key: thing for key, thing in self.things.items() if key not in done}
        typist = self.typed_by or self.person
        rest = type(self)(self.data, farm=self.farm, person=typist, things=left)
        rest.take_refusals(self)
        return rest

    # --- laid out ----------------------------------------------------------------------------

    def rows(self) -> list[Row]:
        return [self._row(key, thing) for key, thing in self.things.items()]

    def _row(self, key: str, thing: Thing) -> Row:
        asked = bool(self.errors.get(f"sure_{key}") or self.data.get(f"sure_{key}"))
        shown = [n for n in self.names[key] if n not in (*self.folded, *self.asked_late)]
        if asked:
            shown += ["sure", *self.asked_late]
        folded = tuple(self[f"{name}_{key}"] for name in self.names[key] if name in self.folded)
        return Row(
            name=self.label_of(thing),
            hint=self.hint_of(thing),
            boxes=tuple(self[f"{name}_{key}"] for name in shown),
            folded=folded,
            is_open=any(box.errors or self.data.get(box.name) for box in folded),
        )
