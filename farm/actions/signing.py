"""Who signs: the person signed in, or at a shared tablet another one, by initials and a PIN."""

from dataclasses import dataclass

from django.contrib.auth.hashers import check_password, make_password
from django.db.models import F

from farm.models import Person, Role
from ledger.errors import Malformed

PIN_DIGITS = range(4, 9)
MOST_MISSES = 5
# These roles look and enter nothing of the work.
READERS = (Role.BOOKKEEPER, Role.INSPECTOR)


@dataclass(frozen=True)
class Signed:
    """``by`` did it; ``typed_by`` is whose sign-in it was typed under, mostly the same."""

    by: Person
    typed_by: Person


def signed(typed_by: Person, initials: str = "", pin: str = "") -> Signed:
    """Return who signs; blank initials, or one's own, are whoever is entering already.

    Not to be called inside a transaction: see `by_pin`.
    """
    if not initials.strip() or initials.strip().upper() == typed_by.initials.upper():
        return Signed(typed_by, typed_by.entering_under or typed_by)
    return Signed(by_pin(initials, pin), typed_by.entering_under or typed_by)


def by_pin(initials: str, pin: str) -> Person:
    """Return the person whose initials and PIN these are, if they may record.

    Not to be called inside a transaction: a wrong PIN is counted although it is refused. After
    five in a row the PIN is worth nothing until an owner sets another.
    """
    doer = Person.objects.filter(initials__iexact=initials.strip()).exclude(pin_hash="").first()
    if doer and doer.pin_misses >= MOST_MISSES:
        raise Malformed(
            f"{doer.initials}: {MOST_MISSES} wrong PINs in a row. Ask the owner to set another."
        )
    if doer is None or not check_password(pin, doer.pin_hash):
        if doer:
            Person.objects.filter(pk=doer.pk).update(pin_misses=F("pin_misses") + 1)
        raise Malformed("These initials and this PIN do not belong together. Type them again.")
    if doer.role in READERS:
        raise Malformed(f"{doer.initials} reads and does not record. Sign as who did the work.")
    if doer.pin_misses:
        Person.objects.filter(pk=doer.pk).update(pin_misses=0)
    return doer


def set_pin(person: Person, pin: str) -> None:
    """Give somebody a PIN of four to eight digits, kept only as a hash; nobody can read it."""
    if not (pin.isascii() and pin.isdigit() and len(pin) in PIN_DIGITS) or len(set(pin)) == 1:
        raise Malformed("A PIN has four to eight digits, not all alike.")
    person.pin_hash, person.pin_misses = make_password(pin), 0
    person.save(update_fields=["pin_hash", "pin_misses"])


def one_at_a_time(who: Signed) -> None:
    """Let what is sent under one sign-in wait its turn: a form sent twice finds its first row."""
    Person.objects.select_for_update().get(pk=who.typed_by.pk)
