"""Forms of what stands beside the book, which may be asked about once before they are taken."""

from collections.abc import Callable, Mapping
from typing import Any, ClassVar, TypeVar

from django import forms

from farm.models import Farm, Person
from farm.pages.recording_form import QUESTIONS, FarmForm
from farm.pages.sending import acted

Made = TypeVar("Made")


class SureForm(FarmForm):
    """``yes``: what the box below the question says."""

    yes: ClassVar[str] = QUESTIONS["sure"]

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(data, farm=farm, initial=initial)
        if "sure" in self.data:
            self.add_question("sure")

    def taken(self, person: Person, act: Callable[[], Made]) -> Made | None:
        """Do it; None where it is refused, or asks first: the words then stand on the form."""
        outcome = acted(self, act, person)
        outcome.write_on_form()
        return outcome.made

    def add_question(self, name: str) -> None:
        self.fields[name] = forms.BooleanField(label=self.yes, required=False)

    def is_sure(self) -> bool:
        return bool(self.cleaned_data.get("sure"))

    def asked(self) -> list[forms.BoundField]:
        """The fields as they are laid out, without the question, which stands above."""
        return [field for field in self.visible_fields() if field.name not in QUESTIONS]


class UndoForm(forms.Form):
    reason = forms.CharField(label="Why", required=False, max_length=300)
    uuid = forms.UUIDField(widget=forms.HiddenInput)
