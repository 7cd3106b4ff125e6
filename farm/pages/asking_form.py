"""Forms of what stands beside the book, which may be asked about once before they are taken."""

from collections.abc import Callable, Mapping
from typing import Any, ClassVar, TypeVar

from django import forms

from farm.actions.questions import PlausibilityQuestion
from farm.models import Farm
from farm.pages.recording_form import QUESTIONS, FarmForm
from ledger.errors import Refused

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
            self._add_box()

    def taken(self, act: Callable[[], Made]) -> Made | None:
        """Do it; None where it is refused, or asks first: the words then stand on the form."""
        try:
            return act()
        except PlausibilityQuestion as question:
            self.ask(question.question)
        except Refused as refusal:
            self.add_error(None, str(refusal))
        return None

    def ask(self, words: str) -> None:
        """Put a question above a box to tick."""
        self._add_box()
        self.add_error("sure", words)

    def is_sure(self) -> bool:
        return bool(self.cleaned_data.get("sure"))

    def asked(self) -> list[forms.BoundField]:
        """The fields as they are laid out, without the question, which stands above."""
        return [field for field in self.visible_fields() if field.name not in QUESTIONS]

    def _add_box(self) -> None:
        self.fields["sure"] = forms.BooleanField(label=self.yes, required=False)
