"""People: who may sign in, in which role; each with a sign-in of their own."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect

from farm.actions.lookups.lookups import change_person
from farm.actions.signing import set_pin
from farm.actions.starting.starting import Account, add_person
from farm.models import Person, Role
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.frame import show
from farm.pages.lookups.lookup_forms import PersonForm
from ledger.errors import Refused


@dataclass(frozen=True)
class PeoplePage:
    people: list[Person]


@dataclass(frozen=True)
class PersonPage:
    known: Person | None
    form: PersonForm


@page(Right.CHANGE_FARM)
def people(request: PageRequest) -> HttpResponse:
    listed = Person.objects.select_related("user").order_by("initials")
    return show(request, "farm/lookups/people.html", PeoplePage(list(listed)))


@page(Right.CHANGE_FARM)
def add_account(request: PageRequest) -> HttpResponse:
    return edit(request, None)


@page(Right.CHANGE_FARM)
def change_account(request: PageRequest, pk: int) -> HttpResponse:
    rows = Person.objects.select_related("user")
    return edit(request, get_or_refuse(request, rows, Right.CHANGE_FARM, pk=pk))


def edit(request: PageRequest, person: Person | None) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = PersonForm(data, person=person)
    if data is not None and form.is_valid():
        try:
            saved = save(person, form)
        except ValidationError as refusal:
            form.add_error(None, refusal.messages)
        except Refused as refusal:
            form.add_error("pin", str(refusal))
        else:
            messages.success(
                request, f"{saved}, {saved.get_role_display()}, signs {saved.initials}."
            )
            return redirect("people")
    return show(request, "farm/lookups/person.html", PersonPage(person, form))


@transaction.atomic
def save(person: Person | None, form: PersonForm) -> Person:
    said = form.cleaned_data
    if person is None:
        account = Account(said["name"], said["password"], said["initials"], said["own_name"])
        saved = add_person(account, Role(said["role"]), form.look())
    else:
        saved = change_person(
            person,
            role=said["role"],
            initials=said["initials"],
            full_name=said["own_name"],
            password=said["password"],
            look=form.look(),
        )
    if said["pin"]:
        set_pin(saved, said["pin"])
    return saved
