"""Make an action's form from an address and from what was sent, now or earlier."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.forms import Field, ModelChoiceField
from django.http import QueryDict
from django.urls import reverse

from farm.models import Farm, Person
from farm.pages.deeds import Deed
from farm.pages.recording_form import ALL_OF, DoingForm, FirstForm
from farm.pages.ways_out import lead_on
from farm.queries.costs.times import usual_time


@dataclass(frozen=True)
class Sent:
    """A form's address and content; ``data`` None: it is being opened."""

    address: QueryDict
    data: QueryDict | None = None


def first_step(
    deed: Deed, address: QueryDict, *, farm: Farm, person: Person, keeping: bool = False
) -> FirstForm | None:
    """Ask first what the form depends on; bound once the address answers all of it.

    ``keeping``: what the address leaves blank is answered later, on the telephone.
    """
    if deed.form.first is None:
        return None
    asked = deed.form.first.base_fields
    given = answers(asked, address)
    left_open = {name for name in asked if keeping and address.get(name) == ""}
    bound = {key: value for name, value in given.items() for key in (name, f"{name}_code")}
    complete = set(asked) <= set(given) | left_open
    form = deed.form.first(bound if complete else None, farm=farm, initial=given)
    for name in left_open:
        form.fields[name].required = False
    form.narrow(person)
    if keeping:
        form.narrow_for_phone()
    lead_on(form, person, back=reverse("record-action", args=[deed.slug]))
    return form


def filled_form(
    deed: Deed,
    sent: Sent,
    *,
    farm: Farm,
    person: Person,
    first: FirstForm | None,
    last: Mapping[str, str] = MappingProxyType({}),
) -> DoingForm:
    """Make the form: of what was sent, or prefilled from the address, else with what was last."""
    form = deed.form(
        sent.data,
        farm=farm,
        person=person,
        given=first.cleaned_data if first else {},
        initial={
            **last,
            **answers(deed.form.base_fields, sent.address),
            ALL_OF: sent.address.get(ALL_OF),
        },
    )
    lead_on(form, person, back=reverse("record-action", args=[deed.slug]))
    if form.kind.takes_time:
        usual = usual_time(form.kind.of_entry, form.place())
        form.fields["minutes"].help_text = f"Blank: {usual or 'no standard time is set: type them'}"
    return form


def answers(asked: Mapping[str, Field], address: QueryDict) -> dict[str, str]:
    """Read a value for each field from an address; a lot's field sends two boxes."""
    given = {}
    for name in asked:
        parts = [address.get(key, "") for key in (f"{name}_code", f"{name}_list", name)]
        value = next(filter(None, parts), None)
        if value:
            given[name] = value
    return given


def chosen(form: DoingForm) -> dict[str, str]:
    """Which rows a valid form chose (a shelf, a steriliser), to be chosen again the next time.

    Never a customer: who bought last is seldom who buys next.
    """
    rows = {
        name: form.cleaned_data.get(name)
        for name, field in form.fields.items()
        if isinstance(field, ModelChoiceField) and name != "customer"
    }
    return {name: str(row.pk) for name, row in rows.items() if row is not None}
