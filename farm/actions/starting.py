"""Start a farm: the one row that names it, and the owner's sign-in."""

from dataclasses import dataclass

from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from farm.models.people import Farm, Person, Role


@dataclass(frozen=True)
class Account:
    """A sign-in to make. Initials default to those of the name: “Ana Ruiz” signs AR."""

    name: str
    password: str
    initials: str = ""


@transaction.atomic
def start_farm(farm: Farm, account: Account) -> Person:
    """Save the farm and its first account, which is the owner's; return the owner."""
    refuse_second_farm()
    farm.full_clean()
    farm.save(force_insert=True)
    return add_person(account, Role.OWNER)


@transaction.atomic
def add_person(account: Account, role: Role) -> Person:
    """Make a sign-in of its own for one person in one role."""
    user = User(username=account.name)
    validate_password(account.password, user)
    user.set_password(account.password)
    user.full_clean()
    user.save()
    person = Person(user=user, role=role, initials=account.initials or initials_of(account.name))
    person.full_clean()
    person.save()
    return person


def refuse_second_farm() -> None:
    """Refuse when the site already has its farm."""
    farm = Farm.objects.first()
    if farm is not None:
        raise ValidationError(
            f"This site already keeps the book of {farm}. "
            "For another farm, set up another site with its own database."
        )


def initials_of(name: str) -> str:
    """Return up to four initials: “ana ruiz” and “ana.ruiz” both give AR."""
    words = name.replace(".", " ").replace("_", " ").replace("-", " ").split()
    return "".join(word[0] for word in words)[:4].upper()
