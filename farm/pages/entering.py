"""Who is entering at a shared device: taken over by initials and PIN, given back when idle.

The session keeps who took over and when they were last there; the sign-in stays the device's.
"""

import time

from django.db.models import QuerySet
from django.http import HttpRequest

from farm.models.people.people import Person, Role

IDLE_SECONDS = 600
# While they are there, the session is written again at most this often.
WRITE_SECONDS = 30
WHO, SINCE = "entering", "entering_since"
# Who may enter under whose sign-in: there must be something that both may do.
ENTER_UNDER = {
    Role.OWNER: (Role.OWNER, Role.HELPER, Role.SELLER),
    Role.HELPER: (Role.OWNER, Role.HELPER),
    Role.SELLER: (Role.OWNER, Role.SELLER),
}


def entering(request: HttpRequest, signed_in: Person) -> Person:
    """Return who is entering; one query where somebody took over, none otherwise."""
    session = request.session
    if WHO not in session:
        return signed_in
    now = int(time.time())
    idle = now - session.get(SINCE, 0)
    person = may_take_over(signed_in).filter(pk=session[WHO]).first()
    if person is None or idle > IDLE_SECONDS:
        give_back(request)
        return signed_in
    if idle > WRITE_SECONDS:
        session[SINCE] = now
    person.entering_under = signed_in
    return person


def may_take_over(signed_in: Person) -> QuerySet[Person]:
    """List who may enter at this device: those with a PIN, whose work this sign-in does as well."""
    others = Person.objects.filter(role__in=ENTER_UNDER.get(Role(signed_in.role), ()))
    return others.exclude(pin_hash="").exclude(pk=signed_in.pk).order_by("initials")


def take_over(request: HttpRequest, person: Person) -> None:
    request.session[WHO], request.session[SINCE] = person.pk, int(time.time())


def give_back(request: HttpRequest) -> None:
    """Let entries be by who is signed in again."""
    for key in (WHO, SINCE):
        request.session.pop(key, None)
