"""Change what the farm knows of itself where one row is not enough: recipes, people."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from farm.actions.people.sign_ins import end
from farm.models import Person, Recipe, RecipeLine, RecipeVersion, Role, SignIn, Supply


@dataclass(frozen=True)
class Look:
    """What an inspector may see, both days included, and the last day to look."""

    from_day: date | None = None
    until_day: date | None = None
    expires_on: date | None = None


@transaction.atomic
def new_version(
    recipe: Recipe,
    *,
    water_mg: int,
    planned_loss_ppm: int,
    lines: Mapping[Supply, int],
    note: str = "",
) -> RecipeVersion:
    """Add the next version of a recipe; what was filled by earlier ones keeps them."""
    last = recipe.versions.aggregate(number=Max("number"))["number"] or 0
    version = RecipeVersion.objects.create(
        recipe=recipe,
        number=last + 1,
        water_mg=water_mg,
        planned_loss_ppm=planned_loss_ppm,
        note=note,
    )
    RecipeLine.objects.bulk_create(
        RecipeLine(version=version, supply=supply, quantity=quantity)
        for supply, quantity in lines.items()
    )
    return version


def weigh_in(person: Person, weight_unit: str) -> Person:
    """Let somebody weigh in a unit of their own; empty: as the farm does."""
    person.weight_unit = weight_unit
    person.full_clean()
    person.save(update_fields=["weight_unit"])
    return person


@transaction.atomic
def change_person(
    person: Person,
    *,
    role: str,
    initials: str,
    full_name: str = "",
    password: str = "",
    look: Look | None = None,
) -> Person:
    """Change someone's role, initials, full name or password; the farm keeps at least one owner.

    A new password signs them out everywhere.
    """
    owners = Person.objects.filter(role=Role.OWNER).exclude(pk=person.pk)
    if role != Role.OWNER and not owners.exists():
        raise ValidationError(
            f"{person} is the only owner. Make somebody else an owner first, then change this."
        )
    person.role, person.initials = role, initials or person.initials
    person.own_name = full_name
    set_look(person, look)
    person.full_clean()
    person.save()
    if password:
        validate_password(password, person.user)
        person.user.set_password(password)
        person.user.save()
        end(SignIn.objects.filter(user=person.user))
    return person


def set_look(person: Person, look: Look | None) -> None:
    """Say what an inspector may see; None leaves it as it is. Of nobody else is it kept."""
    if person.role != Role.INSPECTOR:
        look = Look()
    if look is not None:
        for one in fields(look):
            setattr(person, one.name, getattr(look, one.name))
