"""The fixed cast: one person in each role and a stranger, on one small farm."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

import pytest
from django.contrib.auth.models import User
from django.db import connection, connections
from django.test import Client, TransactionTestCase, override_settings
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadScopeScheduling

from farm.models.people.people import Farm, Person, Role
from ledger import append_only
from tests.copied import copied
from tests.shared_farms import shared_farm

# Speed is measured by the bench, against a baseline: no test fails because a machine is busy.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

# What an inspector of the cast may see, and until when.
SPAN = {
    "from_day": date(2000, 1, 1),
    "until_day": date(2099, 12, 31),
    "expires_on": date(2099, 12, 31),
}


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Keep SQLite's book in a file, as a farm does.

    In memory all threads would share one connection, and a page that a browser asks for by itself
    would meet a locked table.
    """
    if connection.vendor == "sqlite":
        file = tmp_path_factory.mktemp("book") / "test.sqlite3"
        connection.settings_dict["TEST"]["NAME"] = str(file)


class _InTurn(LoadScopeScheduling):
    """Hand tests out one by one, but whole files or folders that share a farm: it is made once."""

    def _split_scope(self, nodeid: str) -> str:
        return shared_farm(self.config.rootpath, nodeid.partition("::")[0]) or nodeid


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> LoadScopeScheduling:
    return _InTurn(config, log)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say in the last lines which checks were left out, and what they lacked."""
    lacked = defaultdict(list)
    for report in terminalreporter.stats.get("skipped", []):
        lacked[report.longrepr[2].removeprefix("Skipped: ")].append(report.nodeid)
    for reason, checks in sorted(lacked.items()):
        terminalreporter.write_line(f"left out, {len(checks)}: {reason}")
        for check in sorted(checks):
            terminalreporter.write_line(f"  {check}")


@pytest.fixture(autouse=True, scope="session")
def _flushing_lifts_the_triggers() -> Iterator[None]:
    """Let a test with real transactions clear its tables, which the book's triggers forbid."""
    plain = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def lifted(test: TransactionTestCase) -> None:
        for each in connections.all():
            append_only.remove(each)
        plain(test)
        for each in connections.all():
            append_only.install(each)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", lifted)
        yield


@pytest.fixture(autouse=True, scope="session")
def _passwords_are_hashed_quickly() -> Iterator[None]:
    """Hash as weakly as Django can: a strong hash is slow on purpose, and guards nothing here."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture
def farm(db: None) -> Farm:
    return _a_farm()


@copied
def _a_farm() -> Farm:
    return Farm.objects.create(
        name="Alder Lane",
        place="Alder Lane 3, Lowfield",
        time_zone="Europe/Madrid",
        currency="EUR",
        weight_unit="kg",
    )


@pytest.fixture
def owner_person(farm: Farm) -> Person:
    return person_in_role(Role.OWNER, "olive")


@pytest.fixture
def helper_person(farm: Farm) -> Person:
    return person_in_role(Role.HELPER, "hugo")


@pytest.fixture
def reader_person(farm: Farm) -> Person:
    return person_in_role(Role.BOOKKEEPER, "rita")


@pytest.fixture
def seller_person(farm: Farm) -> Person:
    return person_in_role(Role.SELLER, "selma")


@pytest.fixture
def inspector_person(farm: Farm) -> Person:
    return person_in_role(Role.INSPECTOR, "inga")


@pytest.fixture
def owner(owner_person: Person) -> Client:
    return signed_in(owner_person)


@pytest.fixture
def helper(helper_person: Person) -> Client:
    return signed_in(helper_person)


@pytest.fixture
def reader(reader_person: Person) -> Client:
    return signed_in(reader_person)


@pytest.fixture
def seller(seller_person: Person) -> Client:
    return signed_in(seller_person)


@pytest.fixture
def inspector(inspector_person: Person) -> Client:
    return signed_in(inspector_person)


@pytest.fixture
def stranger(farm: Farm) -> Client:
    return Client()


@copied
def person_in_role(role: Role, name: str) -> Person:
    """Make a person without a password: hashing one is slow and the cast signs in by force."""
    user = User.objects.create_user(name)
    return Person.objects.create(
        user=user, role=role, initials=name[:2].upper(), **(SPAN if role == Role.INSPECTOR else {})
    )


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person.user)
    return client
