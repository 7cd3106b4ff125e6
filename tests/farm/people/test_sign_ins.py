"""Signing in: guesses are slowed down and kept, sessions are listed and ended."""

from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client, override_settings

from farm.actions.people import sign_ins as action
from farm.actions.people.sign_ins import TooManyTries
from farm.models import Person, SignIn
from tests.farm.filled import text

NOON = datetime(2026, 11, 2, 12, tzinfo=UTC)
HOME, ELSEWHERE = action.Client("192.0.2.1", "Firefox"), action.Client("192.0.2.2", "Firefox")
PASSWORD = "birch-and-alder"


@pytest.fixture
def olive(owner_person: Person) -> User:
    owner_person.user.set_password(PASSWORD)
    owner_person.user.save()
    return owner_person.user


def guess(times: int, *, name: str = "olive", client: action.Client = HOME) -> None:
    """Try so many times, as soon as each try is let through."""
    at = NOON
    for _ in range(times):
        while True:
            try:
                action.begin(name, client, at=at)
            except TooManyTries:
                at += timedelta(seconds=30)
            else:
                break


def sign_in(client: Client, password: str = PASSWORD, **headers: str) -> str:
    form = {"username": "olive", "password": password}
    return text(client.post("/sign-in/", form, follow=True, headers=headers))


# --- guessing ----------------------------------------------------------------------------------


@pytest.mark.django_db
def test_five_wrong_passwords_are_let_through_and_the_sixth_waits() -> None:
    for _ in range(5):
        action.begin("olive", HOME, at=NOON)

    with pytest.raises(TooManyTries, match="Wait a minute"):
        action.begin("olive", HOME, at=NOON + timedelta(seconds=29))
    assert action.begin("olive", HOME, at=NOON + timedelta(seconds=30))


@pytest.mark.django_db
def test_each_further_guess_doubles_the_wait_up_to_a_quarter_of_an_hour() -> None:
    """After the sixth a minute (30 s x 2), after the twelfth a quarter of an hour."""
    guess(6)
    sixth = SignIn.objects.latest("pk").at
    with pytest.raises(TooManyTries):
        action.begin("olive", HOME, at=sixth + timedelta(seconds=59))
    assert action.begin("olive", HOME, at=sixth + timedelta(seconds=60))

    guess(6)
    last = SignIn.objects.order_by("at").last()
    assert last
    with pytest.raises(TooManyTries, match="15 minutes"):
        action.begin("olive", HOME, at=last.at)
    assert action.begin("olive", HOME, at=last.at + timedelta(minutes=15))


@pytest.mark.django_db
def test_guesses_from_many_addresses_count_together_for_a_name() -> None:
    for at in range(5):
        action.begin("olive", action.Client(f"192.0.2.{at}", ""), at=NOON)

    with pytest.raises(TooManyTries):
        action.begin("Olive ", ELSEWHERE, at=NOON)


@pytest.mark.django_db
def test_an_address_that_tries_many_names_waits() -> None:
    for at in range(20):
        action.begin(f"name{at}", HOME, at=NOON)

    with pytest.raises(TooManyTries):
        action.begin("olive", HOME, at=NOON)
    assert action.begin("olive", ELSEWHERE, at=NOON)


@pytest.mark.django_db
def test_the_right_password_starts_the_count_anew(olive: User) -> None:
    guess(4)
    action.succeed(action.begin("olive", HOME, at=NOON), olive, "a key")
    for second in range(1, 6):
        action.begin("olive", HOME, at=NOON + timedelta(seconds=second))

    with pytest.raises(TooManyTries):
        action.begin("olive", HOME, at=NOON + timedelta(seconds=6))


def test_even_the_right_password_waits_its_turn_on_the_page(olive: User) -> None:
    client = Client()
    for _ in range(5):
        sign_in(client, "guess")

    page = sign_in(client)

    assert "Too many tries. Wait a minute" in page
    assert client.get("/").status_code == 302


def test_what_was_typed_as_a_name_is_not_kept(olive: User) -> None:
    Client().post("/sign-in/", {"username": PASSWORD, "password": "olive"})
    kept = SignIn.objects.get()

    assert kept.user is None
    assert PASSWORD not in str(list(SignIn.objects.values()))


@pytest.mark.django_db
def test_the_log_is_kept_for_thirteen_months() -> None:
    action.begin("olive", HOME, at=NOON)
    action.begin("olive", HOME, at=NOON + timedelta(days=396))
    action.begin("olive", HOME, at=NOON + timedelta(days=397))

    assert SignIn.objects.count() == 2


# --- where from --------------------------------------------------------------------------------


def test_a_sign_in_is_kept_with_when_and_where_from(olive: User) -> None:
    sign_in(Client(), **{"User-Agent": "Firefox on a phone"})
    kept = SignIn.objects.get()

    assert (kept.user, kept.succeeded, kept.address, kept.device) == (
        olive,
        True,
        "127.0.0.1",
        "Firefox on a phone",
    )


@override_settings(SERVED_BY_HTTPS=True)
def test_behind_a_proxy_the_address_is_the_one_the_proxy_saw(olive: User) -> None:
    """The last one: what stands before it was sent by the client and may be made up."""
    sign_in(Client(), **{"X-Forwarded-For": "203.0.113.9, 198.51.100.7"})

    assert SignIn.objects.get().address == "198.51.100.7"


# --- sessions ----------------------------------------------------------------------------------


def test_one_sees_ones_own_sign_ins_and_which_are_open(olive: User) -> None:
    here, there = Client(), Client()
    sign_in(there, **{"User-Agent": "an old tablet"})
    sign_in(here)

    page = text(here.get("/own/"))

    assert "an old tablet" in page
    assert "Sign out on 1 other device" in page


def test_another_device_is_signed_out(olive: User) -> None:
    here, there = Client(), Client()
    sign_in(there)
    other = SignIn.objects.get()
    sign_in(here)

    here.post("/own/", {"session": str(other.pk)})

    assert there.get("/").status_code == 302
    assert here.get("/").status_code == 200


def test_all_other_devices_are_signed_out_at_once(olive: User) -> None:
    here, there, third = Client(), Client(), Client()
    for client in (there, third, here):
        sign_in(client)

    here.post("/own/")

    assert [client.get("/").status_code for client in (here, there, third)] == [200, 302, 302]


def test_anothers_session_cannot_be_ended(olive: User, helper: Client) -> None:
    there = Client()
    sign_in(there)

    assert helper.post("/own/", {"session": str(SignIn.objects.get().pk)}).status_code == 404
    assert there.get("/").status_code == 200


def test_only_the_owner_sees_everybodys(olive: User, helper: Client, owner: Client) -> None:
    sign_in(Client(), "guess")

    assert helper.get("/sign-ins/").status_code == 403
    assert "olive" in text(owner.get("/sign-ins/?succeeded=False"))


# --- passwords ---------------------------------------------------------------------------------


def test_a_new_password_ends_every_other_session(olive: User) -> None:
    here, there = Client(), Client()
    sign_in(there)
    sign_in(here)

    here.post(
        "/own/password/",
        {
            "old_password": PASSWORD,
            "new_password1": "larch-and-spruce",
            "new_password2": "larch-and-spruce",
        },
    )

    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 302
    assert "this device" in text(here.get("/own/"))


@pytest.mark.parametrize("password", ["1234567890123", "password123", "short"])
def test_a_weak_password_is_refused(olive: User, password: str) -> None:
    client = Client()
    sign_in(client)

    client.post(
        "/own/password/",
        {
            "old_password": PASSWORD,
            "new_password1": password,
            "new_password2": password,
        },
    )

    olive.refresh_from_db()
    assert olive.check_password(PASSWORD)


def test_a_password_set_by_the_owner_signs_somebody_out(
    olive: User, owner: Client, owner_person: Person
) -> None:
    there = Client()
    sign_in(there)

    owner.post(
        f"/look-ups/people/{owner_person.pk}/",
        {
            "initials": "OL",
            "role": "owner",
            "password": "larch-and-spruce",
        },
    )

    assert there.get("/").status_code == 302
