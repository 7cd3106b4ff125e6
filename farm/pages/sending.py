"""The one way of a form that is sent: parse, ask, act, and say what became of it.

`send` takes a recording form the whole way; `acted` says what came of any other form. Both give
an `Outcome`, which a page shows (`recording.py`) and a telephone is told in JSON (`from_phone.py`).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum, auto
from types import MappingProxyType
from typing import Generic, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.urls import reverse

from farm.actions.common import Recorded
from farm.actions.questions import PlausibilityQuestion
from farm.models import Farm, Person
from farm.pages.access import Right, may
from farm.pages.deeds import Deed
from farm.pages.kept_pages import without_money
from farm.pages.recording_form import ALL_OF, QUESTIONS, DoingForm, FarmForm, FirstForm
from farm.pages.sent_forms import Sent
from farm.queries.entries import entry_of
from farm.units import UnitError
from ledger.errors import Conflict, NotEnough, OnHold, Refused

Made = TypeVar("Made")
# What the book refuses now and may take later, of a form that records.
TAKEN_LATER = (NotEnough, OnHold, Conflict)
BEFORE_WORDS = "This form was recorded before; nothing was written twice."


class State(Enum):
    DONE = auto()
    BEFORE = auto()  # it was sent before, and recorded then
    WRONG = auto()  # it cannot be read
    ASKED = auto()  # something in it is doubtful
    REFUSED = auto()
    WAITS = auto()  # refused now: it is kept, and tried again


@dataclass(frozen=True)
class Outcome(Generic[Made]):
    """What became of a form: ``made``, or the ``words`` against it beside the ``box`` they name.

    ``refusal``: what was refused, or has to come first. ``address``: where what was made is shown.
    """

    state: State
    form: FarmForm
    words: tuple[str, ...] = ()
    made: Made | None = None
    box: str | None = None
    refusal: Exception | None = None
    address: str = ""

    def write_on_form(self) -> None:
        """Put a question above its box to tick, and a refusal beside what it is about."""
        words = " ".join(self.words)
        if self.box in QUESTIONS:
            self.form.ask(words, self.box)
        elif self.state is State.WAITS:
            self.form.add_error(self.box, f"{words} The form is kept under To sort out.")
        elif self.state is State.REFUSED:
            self.form.add_error(self.box, words)


# --- the way ---------------------------------------------------------------------------------


def send(deed: Deed, sent: Sent, *, farm: Farm, person: Person) -> Outcome[Recorded]:
    """Parse what was sent, let the action ask and act, and say what came of it."""
    form = form_for(deed, sent, farm=farm, person=person)
    if not form.is_valid() or isinstance(form, FirstForm):
        known = entry_of(sent.data.get("uuid", "")) if sent.data else None
        if known is None:
            return Outcome(State.WRONG, form, words_of_errors(form))
        address = reverse(deed.leads_to, args=[known.seq])
        return Outcome(State.BEFORE, form, (BEFORE_WORDS,), address=address)
    try:
        form.sign()
    except Refused as refusal:
        return Outcome(State.REFUSED, form, (str(refusal),), box="pin")
    outcome = acted(form, lambda: form.run(form.doing()), person, waits_for=TAKEN_LATER)
    if outcome.made is not None:
        state = State.DONE if outcome.made.fresh else State.BEFORE
        address = reverse(deed.leads_to, args=[outcome.made.entry.seq])
        return replace(outcome, state=state, address=address)
    if form.counts_up and isinstance(outcome.refusal, NotEnough) and outcome.refusal.lots:
        return replace(outcome, box="count_up")
    return outcome


def acted(
    form: FarmForm,
    act: Callable[[], Made],
    person: Person,
    *,
    waits_for: tuple[type[Refused], ...] = (),
) -> Outcome[Made]:
    """Act, and say what came of it; ``person`` is asked as far as they may see prices and orders.

    ``waits_for``: refusals of a form that is kept, and tried again later.
    """
    try:
        return Outcome(State.DONE, form, made=act())
    except PlausibilityQuestion as question:
        asked = question.worded(
            money=may(person, Right.SEE_SALES), orders=may(person, Right.SEE_ORDERS)
        )
        return Outcome(State.ASKED, form, (asked,), box="sure", refusal=question.instead)
    except ValidationError as refusal:
        return Outcome(State.REFUSED, form, tuple(refusal.messages), refusal=refusal)
    except (Refused, UnitError) as refusal:
        state = State.WAITS if isinstance(refusal, waits_for) else State.REFUSED
        return Outcome(state, form, (str(refusal),), refusal=refusal)


def words_of_errors(form: forms.BaseForm) -> tuple[str, ...]:
    """Say what is wrong with a form, field by field: “Firsts: This is needed.”"""
    return tuple(
        f"{'' if name == '__all__' else f'{form[name].label}: '}{words}"
        for name, found in form.errors.items()
        for words in found
    )


# --- parse -----------------------------------------------------------------------------------


def form_for(
    deed: Deed,
    sent: Sent,
    *,
    farm: Farm,
    person: Person,
    keeping: bool = False,
    last: Mapping[str, str] = MappingProxyType({}),
) -> FirstForm | DoingForm:
    """Make the form of what was sent, or prefilled from the address, else with what was ``last``.

    What it depends on is asked first, until the address answers all of it. ``keeping``: what the
    address leaves blank is answered later, on the telephone, where no price is left lying.
    """
    given = {}
    if deed.form.first is not None:
        first = _first_step(
            deed.form.first, sent.address, farm=farm, person=person, keeping=keeping
        )
        if not first.is_valid():
            return first
        given = first.cleaned_data
    from_address = answers(deed.form.base_fields, sent.address)
    return deed.form(
        sent.data,
        farm=farm,
        person=without_money(person) if keeping else person,
        given=given,
        initial={**last, **from_address, ALL_OF: sent.address.get(ALL_OF)},
    )


def _first_step(
    of: type[FirstForm], address: QueryDict, *, farm: Farm, person: Person, keeping: bool
) -> FirstForm:
    """Ask first what the form depends on; bound once the address answers all of it."""
    asked = of.base_fields
    given = answers(asked, address)
    left_open = {name for name in asked if keeping and address.get(name) == ""}
    bound = {key: value for name, value in given.items() for key in (name, f"{name}_code")}
    complete = set(asked) <= set(given) | left_open
    form = of(bound if complete else None, farm=farm, initial=given)
    for name in left_open:
        form.fields[name].required = False
    form.narrow(person)
    if keeping:
        form.narrow_for_phone()
    return form


def answers(asked: Mapping[str, forms.Field], address: QueryDict) -> dict[str, str]:
    """Read a value for each field from an address; a lot's field sends two boxes."""
    given = {}
    for name in asked:
        parts = [address.get(key, "") for key in (f"{name}_code", f"{name}_list", name)]
        value = next(filter(None, parts), None)
        if value:
            given[name] = value
    return given
