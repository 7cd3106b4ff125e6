"""Start a farm: the one row that names it, the owner's sign-in, and what to plan with."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from farm.actions.lookups.lookups import Look, new_version, set_look
from farm.beliefs import Filling, Part, Planned
from farm.kinds import TIMED
from farm.models.growing.growing import Recipe, RecipeVersion, Room, Shelf, Species, Strain, Supply
from farm.models.people.people import Farm, Person, Role
from farm.models.trading import Rate, StandardTime
from ledger import book
from ledger.models import Dimension

# Rates given at the start also hold for what happened before it and is entered late.
SINCE_EVER = date(2000, 1, 1)


@dataclass(frozen=True)
class Account:
    """A sign-in to make. Initials default to those of the name: “Ana Ruiz” signs AR."""

    name: str
    password: str
    initials: str = ""
    full_name: str = ""


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
    add_usual_times()
    add_rates(rates)


def add_usual_times() -> None:
    """Write the standard time of each kind that has none yet."""
    StandardTime.objects.bulk_create(
        (
            StandardTime(action=kind, minutes=usual.minutes, unit_seconds=usual.unit_seconds)
            for kind, usual in TIMED.items()
        ),
        ignore_conflicts=True,
    )


def add_rates(rates: Mapping[str, int]) -> None:
    """Write what each costs, for all time so far."""
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
    first_mg, second_mg, third_mg = belief.picked_mg
    return Strain.objects.create(
        species=species,
        name=name,
        spawn_run_days=belief.spawn_run_days,
        first_pick_days=belief.first_pick_days,
        flush_gap_days=belief.flush_gap_days,
        soak_days=belief.soak_days,
        first_mg=first_mg,
        second_mg=second_mg,
        third_mg=third_mg,
        planned_loss_ppm=belief.planned_loss_ppm,
    )


@transaction.atomic
def add_filling(filling: Filling) -> RecipeVersion:
    """Write a starting recipe as the first version of its own, with the supplies it needs."""
    recipe = Recipe.objects.create(name=filling.name, makes=filling.makes)
    lines = {_supply(part): part.quantity for part in filling.parts}
    return new_version(
        recipe, water_mg=filling.water_mg, planned_loss_ppm=0, lines=lines, note=filling.source
    )


def _supply(part: Part) -> Supply:
    item = book.item_named(part.supply, Dimension.COUNT if part.is_counted else Dimension.MASS)
    said = {"use": part.use, "moisture_ppm": part.moisture_ppm, "piece_mg": part.piece_mg}
    return Supply.objects.get_or_create(item=item, defaults=said)[0]


@transaction.atomic
def add_room(name: str, purpose: str, *, holds_blocks: int) -> Shelf:
    """Write a room with one shelf; the farm divides it further as it likes."""
    room = Room(name=name, purpose=purpose)
    room.full_clean()
    room.save()
    return Shelf.objects.create(room=room, name="main", holds_blocks=holds_blocks)


@transaction.atomic
def add_person(account: Account, role: Role, look: Look | None = None) -> Person:
    """Make a sign-in of its own for one person in one role."""
    user = User(username=account.name)
    validate_password(account.password, user)
    user.set_password(account.password)
    user.full_clean()
    user.save()
    person = Person(
        user=user,
        role=role,
        initials=account.initials or initials_of(account.name),
        own_name=account.full_name,
    )
    set_look(person, look)
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
