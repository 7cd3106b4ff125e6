"""Weigh a whole shelf in: one row a lot, blank where nobody weighed, each its own entry."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import uuid4

from django import forms

from farm.actions.common import Doing
from farm.models import Farm, Person
from farm.pages.forms.doing import REST, DoingForm
from farm.pages.forms.fields import MassField, lot_label
from farm.pages.forms.store import MISSING
from farm.queries.in_store import Stored
from farm.units import show_both
from ledger.models import Lot


@dataclass(frozen=True)
class ShelfRow:
    """One lot's boxes: its weight, and why, asked once more than its water is missing."""

    lot: Lot
    fields: tuple[forms.BoundField, ...]


class ShelfForm(DoingForm):
    """What each lot should weigh stands beside its box as a hint, never in it."""

    takes_time = False

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        stored: Sequence[Stored],
    ) -> None:
        self.stored = {one.lot.pk: one for one in stored}
        super().__init__(data, farm=farm, person=person)

    def build(self) -> None:
        for one in self.stored.values():
            self.offer(one)

    def offer(self, one: Stored) -> None:
        key = one.lot.pk
        weight = MassField(label=lot_label(one.lot, self.farm), required=False)
        weight.help_text = hint_of(one, self.farm)
        self.add(f"weight_{key}", weight)
        causes = [("", "not known"), *((why, why) for why in MISSING)]
        self.add(f"cause_{key}", forms.ChoiceField(label="Why", choices=causes, required=False))
        self.add(f"sure_{key}", forms.BooleanField(label="Yes, that is right", required=False))
        number = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
        self.add(f"uuid_{key}", number)

    def weighed(self) -> Iterator[tuple[Lot, Doing, int]]:
        """Give each lot that was weighed, with its own number; the rest nobody weighed."""
        for key, one in self.stored.items():
            weight_mg = self.cleaned_data.get(f"weight_{key}")
            if weight_mg is not None:
                yield one.lot, self.doing_of(key), weight_mg

    def is_wrong(self) -> bool:
        """Say whether what all rows share cannot be read, so that none can be recorded."""
        return any(name in self.errors for name in (*REST, "__all__"))

    def refuse(self, lot: Lot, refusal: str) -> None:
        self.add_error(f"weight_{lot.pk}", refusal)

    def ask_about(self, lot: Lot, question: str) -> None:
        self.add_error(f"sure_{lot.pk}", question)

    def doing_of(self, key: int) -> Doing:
        said = self.cleaned_data
        cause, sure = said[f"cause_{key}"], said[f"sure_{key}"]
        doing = self.because(cause)
        return replace(doing, uuid=said[f"uuid_{key}"], sure=sure)

    def rows(self) -> list[ShelfRow]:
        return [ShelfRow(one.lot, tuple(self._shown(key))) for key, one in self.stored.items()]

    def _shown(self, key: int) -> Iterator[forms.BoundField]:
        yield self[f"weight_{key}"]
        if self.errors.get(f"sure_{key}") or self.data.get(f"sure_{key}"):
            yield self[f"sure_{key}"]
            yield self[f"cause_{key}"]


def hint_of(one: Stored, farm: Farm) -> str:
    if one.expected_mg is None or one.least_mg is None or one.most_mg is None:
        return ""
    expected, least, most = (
        show_both(mg, farm.weight_unit) for mg in (one.expected_mg, one.least_mg, one.most_mg)
    )
    return f"Should weigh about {expected} (from {least} to {most})"
