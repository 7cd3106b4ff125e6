"""Tries to sign in: counted, slowed down when they fail, kept; and sessions, ended.

A try is written down before its password is looked at, one after the other, so that many at once
are counted like many in a row. A name waits after its fifth wrong password; an address after its
twentieth in an hour, whatever the names. Each further one doubles the wait, up to a quarter of an
hour. Own rules, loosely after OWASP's and NIST SP 800-63B's advice to slow guessing down.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import QuerySet
from django.utils.crypto import salted_hmac

from farm.models import Farm, SignIn
from ledger.errors import Refused

FREE_BY_NAME, FREE_BY_ADDRESS = 5, 20
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=30), timedelta(minutes=15)
A_DAY, AN_HOUR = timedelta(days=1), timedelta(hours=1)
# The log is about people: it is kept for a year and a month.
KEPT = timedelta(days=396)


class TooManyTries(Refused):
    """So many tries failed that the next has to wait."""


@dataclass(frozen=True)
class Client:
    """From where somebody signs in: the address, and what the browser calls itself."""

    address: str | None
    device: str


@transaction.atomic
def begin(name: str, client: Client, *, at: datetime) -> SignIn:
    """Write a try down as failed, before the password is looked at; refuse one that must wait."""
    Farm.objects.select_for_update().first()
    digest = digest_of(name)
    wait = max(_wait_by_name(digest, at), _wait_by_address(client.address, at))
    if wait > timedelta(0):
        raise TooManyTries(f"Too many tries. Wait {_words(wait)}, then try again.")
    SignIn.objects.filter(at__lt=at - KEPT).delete()
    return SignIn.objects.create(
        user=User.objects.filter(username__iexact=name.strip()).first(),
        name_digest=digest,
        at=at,
        address=client.address,
        device=client.device[:200],
        succeeded=False,
    )


def succeed(tried: SignIn, user: User, session_key: str) -> None:
    tried.user, tried.succeeded, tried.session_key = user, True, session_key
    tried.save(update_fields=["user", "succeeded", "session_key"])


def live(user: User, *, at: datetime) -> QuerySet[SignIn]:
    """Sign-ins of somebody whose sessions are open still, newest first."""
    open_now = Session.objects.filter(expire_date__gt=at).values("session_key")
    own = SignIn.objects.filter(user=user, session_key__in=open_now)
    return own.exclude(session_key="").order_by("-at", "-pk")


def end(sign_ins: QuerySet[SignIn]) -> int:
    """End the sessions of some sign-ins; return how many were open."""
    keys = list(sign_ins.exclude(session_key="").values_list("session_key", flat=True))
    ended, _ = Session.objects.filter(session_key__in=keys).delete()
    sign_ins.filter(session_key__in=keys).update(session_key="")
    return ended


def new_password(user: User, *, before: str, now: str) -> None:
    """After a new password the session has another key, and all others are over."""
    SignIn.objects.filter(user=user, session_key=before).update(session_key=now)
    end(SignIn.objects.filter(user=user).exclude(session_key=now))


def digest_of(name: str) -> str:
    """A keyed digest of a name as typed: counted by, and not to be read back."""
    return salted_hmac("sign-in", name.strip().casefold(), algorithm="sha256").hexdigest()


def _wait_by_name(digest: str, at: datetime) -> timedelta:
    """How long a name has to wait yet: wrong passwords in a row within a day count."""
    tries = SignIn.objects.filter(name_digest=digest, at__gt=at - A_DAY)
    right = tries.filter(succeeded=True).order_by("-at").first()
    wrong = tries.filter(succeeded=False, **({"at__gt": right.at} if right else {}))
    return _wait(wrong, FREE_BY_NAME, at)


def _wait_by_address(address: str | None, at: datetime) -> timedelta:
    if address is None:
        return timedelta(0)
    wrong = SignIn.objects.filter(address=address, succeeded=False, at__gt=at - AN_HOUR)
    return _wait(wrong, FREE_BY_ADDRESS, at)


def _wait(wrong: QuerySet[SignIn], free: int, at: datetime) -> timedelta:
    """Double from half a minute: after the fifth 30 s, the sixth 60 s, the tenth a quarter hour."""
    last = wrong.order_by("-at").first()
    over = wrong.count() - free
    if last is None or over < 0:
        return timedelta(0)
    wait = min(FIRST_WAIT * (1 << min(over, 10)), LONGEST_WAIT)
    return last.at + wait - at


def _words(wait: timedelta) -> str:
    seconds = -int(-wait.total_seconds() // 1)
    if seconds <= 60:
        return "a minute"
    return f"{-(-seconds // 60)} minutes"
