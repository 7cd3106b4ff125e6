"""A call of a recall, the start of a drill, and its signature."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from farm.actions.common import Doing
from farm.actions.tracing.drilling import Signed
from farm.actions.tracing.recalling import Told
from farm.models import Customer, Farm, Person, SellingPlace
from farm.pages.clock import ClockField
from farm.pages.fields import MassField
from farm.pages.recording_form import FAST_CLOCK, FarmForm
from farm.queries.tracing.contacts import CUSTOMER, PLACE


class CallForm(FarmForm):
    """``whom``: all on the recall's lists, as they may be named to this person."""

    whom = forms.ChoiceField(label="Who was called or told")
    when = ClockField(label="When")
    reached = forms.BooleanField(label="Somebody answered, or the notice hangs", required=False)
    answer = forms.CharField(
        label="What was answered",
        max_length=300,
        help_text="How much they have, used or sold on; or that nobody answered",
    )
    recovered_mg = MassField(label="Weight that came back or is set aside", required=False)
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        whom: Sequence[tuple[str, str]],
    ) -> None:
        now = timezone.localtime().replace(second=0, microsecond=0)
        super().__init__(data, farm=farm, initial={"uuid": uuid4(), "when": now})
        field = self.fields["whom"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "Choose"), *whom]

    def clean_when(self) -> datetime:
        when: datetime = self.cleaned_data["when"]
        if when > timezone.now() + FAST_CLOCK:
            raise ValidationError("This is later than now. State when the call was made.")
        return when

    def clean_whom(self) -> Told:
        kind, _, key = self.cleaned_data["whom"].partition("-")
        if kind == CUSTOMER:
            return Customer.objects.get(pk=key)
        return SellingPlace.objects.get(name=key) if kind == PLACE else key

    def doing(self, person: Person) -> Doing:
        said = self.cleaned_data
        return Doing(by=person, happened_at=said["when"], uuid=said["uuid"], reason=said["answer"])


class StartForm(forms.Form):
    code = forms.CharField(
        label="Code of a sold lot",
        required=False,
        help_text="Blank: one sold lot is picked by chance",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    uuid = forms.UUIDField(widget=forms.HiddenInput)


class SignForm(forms.Form):
    """One answer to each question about what is missing."""

    lessons = forms.CharField(
        label="What was learnt, what will be changed",
        required=False,
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    initials = forms.CharField(label="Signed with your own initials", max_length=4)

    def __init__(self, data: Mapping[str, Any] | None = None, *, questions: Sequence[str]) -> None:
        super().__init__(data)
        self.names = [f"answer_{at}" for at in range(len(questions))]
        for name, question in zip(self.names, questions, strict=True):
            self.fields[name] = forms.CharField(label=question, max_length=300)
        self.order_fields([*self.names, "lessons", "initials"])

    def signed(self) -> Signed:
        said = self.cleaned_data
        answers = tuple(said[name] for name in self.names)
        return Signed(said["initials"], answers, said["lessons"])
