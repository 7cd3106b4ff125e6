"""Start a farm: the one row that names it, the owner's sign-in, and what to plan with."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from farm.beliefs import STANDARD_TIMES, Planned
from farm.models.growing import Species, Strain
from farm.models.people import Farm, Person, Role
from farm.models.trading import Rate, StandardTime

# Rates given at the start also hold for what happened before it and is entered late.
SINCE_EVER = date(2000, 1, 1)


@dataclass(frozen=True)
class Account:
    """A sign-in to make. Initials default to those of the name: “Ana Ruiz” signs AR."""

    name: str
    password: str
    initials: str = ""


@transaction.atomic
def start_farm(farm: Farm, account: Account, rates: Mapping[str, int] | None = None) -> Person:
    """Save the farm, its standard times and its first account, the owner's; return the owner.

    ``rates``: money by `RateOf`. One left out is asked for by the first action that needs it.
    """
    refuse_second_farm()
    farm.full_clean()
    farm.save(force_insert=True)
    add_beliefs(rates or {})
    return add_person(account, Role.OWNER)


@transaction.atomic
def add_beliefs(rates: Mapping[str, int]) -> None:
    """Write the standard time of every action, and what an hour, a kWh and a block's day cost."""
    StandardTime.objects.bulk_create(
        StandardTime(action=time.action, minutes=time.minutes, unit_seconds=time.unit_seconds)
        for time in STANDARD_TIMES
    )
    for of, rate_money in rates.items():
        rate = Rate(of=of, from_day=SINCE_EVER, rate_money=rate_money)
        rate.full_clean()
        rate.save()


@transaction.atomic
def add_strain(belief: Planned, name: str) -> Strain:
    """Write a strain, and its species unless it is there, with the starting figures."""
    species, _ = Species.objects.get_or_create(
        name=belief.species,
        defaults={
            "latin": belief.latin,
            "moisture_ppm": belief.moisture_ppm,
            "fridge_days": belief.fridge_days,
            "water_loss_ppm": belief.water_loss_ppm,
        },
    )
    first_mg, second_mg, third_mg = belief.flushes_mg
    return Strain.objects.create(
        species=species,
        name=name,
        spawn_run_days=belief.spawn_run_days,
        first_pick_days=belief.first_pick_days,
        flush_gap_days=belief.flush_gap_days,
        first_mg=first_mg,
        second_mg=second_mg,
        third_mg=third_mg,
        planned_loss_ppm=belief.planned_loss_ppm,
    )


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
