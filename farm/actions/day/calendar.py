"""The secret address of a person's calendar: made, renewed, given up."""

import secrets
from hashlib import sha256

from django.db import transaction
from django.utils import timezone

from farm.models import CalendarAddress, Person


@transaction.atomic
def renew_calendar(person: Person) -> str:
    """Make a new secret and return it, this once; the one before leads nowhere from now on.

    256 bits by chance cannot be guessed, so a plain digest is kept and the secret nowhere.
    """
    secret = secrets.token_urlsafe(32)
    CalendarAddress.objects.update_or_create(
        person=person, defaults={"digest": digest(secret), "made_at": timezone.now()}
    )
    return secret


def give_up_calendar(person: Person) -> None:
    """Let the address lead nowhere."""
    CalendarAddress.objects.filter(person=person).delete()


def person_with(secret: str) -> Person | None:
    """Find whose secret this is, if they may still sign in; one query."""
    found = CalendarAddress.objects.filter(digest=digest(secret), person__user__is_active=True)
    address = found.select_related("person__user").first()
    return address.person if address else None


def digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()
