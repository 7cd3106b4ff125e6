"""Record a form of many rows: each row that can be is recorded, the rest stays with its answer."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse

from farm.actions.common import Recorded
from farm.models import Person, Record
from farm.pages.access import PageRequest
from farm.pages.from_phone import in_json, receive_form
from farm.pages.recording.recording import follow_up
from farm.pages.row_forms import RowsForm
from farm.pages.sending import Outcome, State, acted
from ledger.errors import Refused
from ledger.models import Entry


@dataclass(frozen=True)
class Done:
    """What a row became: an entry or a record."""

    name: str
    to: Entry | Record

    def __str__(self) -> str:
        return f"{self.name}: {self.to}"


# What the rows of a form became, in words.
Said = Callable[[Mapping[str, Done]], str]


def record_rows(request: PageRequest, form: RowsForm[Any]) -> dict[str, Done]:
    """Record each row that can be, by its key; refusals and questions stand at their rows."""
    form.full_clean()
    if form.is_wrong():
        return {}
    try:
        form.sign()
    except Refused as refusal:
        form.add_error("pin", str(refusal))
        return {}
    made = {}
    for key in form.filled():
        found = _record_row(form, key, request.person)
        if found is not None:
            made[key] = found
    for one in made.values():
        for words in follow_up(one, request.farm) if isinstance(one, Recorded) else ():
            messages.info(request, words)
    return _named(form, made)


def rows_from_phone(
    request: PageRequest, form: RowsForm[Any], *, name: str, said: Said, leads_to: str
) -> HttpResponse:
    """Record the rows of a form that waited on a telephone; what is left is to be sorted out.

    ``name``: under which what is left is kept; ``said``: what the rows became, in words.
    """
    before = receive_form(request)
    if before is not None:
        return before
    done = record_rows(request, form)
    if form.errors:
        wrong: Outcome[Any] = Outcome(State.WRONG, form, (words_of_rows(form),))
        return in_json(request, name, wrong, done=list(done))
    return in_json(request, name, Outcome(State.DONE, form, (said(done),), done, address=leads_to))


def words_of_rows(form: RowsForm[Any]) -> str:
    """Say what is wrong row by row: “K7M4Q: Type a weight.”"""
    rows = {
        f"{name}_{key}": form.name_of(thing)
        for key, thing in form.things.items()
        for name in (*form.names[key], "sure", "uuid")
    }
    said = [
        f"{rows.get(name) or form[name].label}: {words}" if name in form.fields else str(words)
        for name, found in form.errors.items()
        for words in found
    ]
    return " ".join(said)


def _record_row(form: RowsForm[Any], key: str, person: Person) -> Recorded | Record | None:
    said = form.said_of(key)
    outcome = acted(
        form, lambda: form.run_row(form.things[key], said, form.doing_of(key, said)), person
    )
    words = " ".join(outcome.words)
    if outcome.state is State.ASKED:
        form.ask_about(key, words)
    elif outcome.made is None:
        form.refuse(key, words)
    return outcome.made


def _named(form: RowsForm[Any], made: Mapping[str, Recorded | Record]) -> dict[str, Done]:
    return {
        key: Done(form.name_of(form.things[key]), one if isinstance(one, Record) else one.entry)
        for key, one in made.items()
    }
