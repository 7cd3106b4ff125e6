"""What somebody must never see is on no page and in no file that their role leads to.

Figures and words are planted where nothing else writes them, and looked for on every page that a
role can reach by links, on every address that lets it in, and in every spreadsheet, CSV and JSON
that those pages offer. Who must never see what: the farm's own rule, written down in seen.py and
access.py.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from io import BytesIO
from zipfile import ZipFile

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from farm.actions.common import Doing
from farm.actions.selling.selling import SoldLine, sell
from farm.actions.selling.stalls import settle_stall
from farm.models import AgreedPrice, Price, Rate, RateOf, Recall, RecipeVersion, Role, Stage
from ledger.models import Lot
from tests.conftest import signed_in
from tests.farm.everything import Everything, everything, stall_load
from tests.farm.filled import Answered
from tests.farm.kept import keep
from tests.farm.people.test_roles import LETS_IN, NOT_THERE, ROLES, address_of
from tests.farm.world import FIRST_DAY, KG, World, fresh
from tests.walk import walk

pytestmark = pytest.mark.django_db

# In 1/10,000 of the currency unit, and as they would be read.
WHOLESALE, COST, AN_HOUR, OTHERS_STALL = "7654.32", "6543.21", "4321.09", "3333.33"
CUSTOMER, RECIPE, ILLNESS = "The Anchor", "a spoon of secret gypsum", "swollen throat"
MONEY = (WHOLESALE, COST, AN_HOUR, OTHERS_STALL)
NEVER = {
    Role.HELPER: (*MONEY, ILLNESS),
    Role.SELLER: (*MONEY, CUSTOMER, RECIPE, ILLNESS),
    Role.BOOKKEEPER: (RECIPE, ILLNESS),
    Role.INSPECTOR: (*MONEY, CUSTOMER, RECIPE, ILLNESS),
}
# A recall is where the law asks for the names of who received it.
NAMES_ON = "/recalls/"
FILE = re.compile(r'href="([^"]*(?:[?&;](?:file|take)=(?:xlsx|csv|txt)|\.csv|\.jsonld)[^"]*)"')


@pytest.fixture(scope="module")
def planted(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Everything]:
    with django_db_blocker.unblock(), transaction.atomic():
        site = everything()
        plant(site)
        yield site
        transaction.set_rollback(True)


def plant(site: Everything) -> None:
    world, lots = site.world, site.lots
    Price.objects.filter(place=world.kitchens).update(pack_money=money(WHOLESALE))
    AgreedPrice.objects.create(
        customer=world.customer,
        product=world.product,
        from_day=FIRST_DAY,
        unit_money=money(WHOLESALE),
        tax_included=True,
    )
    line = SoldLine(fresh(lots.packs), 1, money(WHOLESALE))
    sell(late(world), place=world.kitchens, customer=world.customer, lines=[line])
    others = stall_load(lots, world.owner, lots.seconds, KG, doing=late(world))
    settle_stall(
        late(world),
        stall_day=others,
        brought_back={},
        prices={lots.seconds.pk: money(OTHERS_STALL)},
    )
    world.received("rye", KG, paid_money=money(COST), sure=True)
    Rate.objects.filter(of__in=(RateOf.PAID_HOUR, RateOf.OWN_HOUR)).update(
        rate_money=money(AN_HOUR)
    )
    RecipeVersion.objects.update(note=RECIPE)
    keep(world, "illness", who="Ben", symptoms=ILLNESS)


def late(world: World) -> Doing:
    """Typed late, as of before the recall that holds it."""
    before = Recall.objects.get().opened_at - timedelta(hours=1)
    return replace(world.doing(sure=True, reason="typed late"), happened_at=before)


def received() -> Lot:
    """The delivery that cost so much."""
    return Lot.objects.filter(card__stage=Stage.SUPPLY).latest("pk")


def money(words: str) -> int:
    whole, cents = words.split(".")
    return int(whole) * 10_000 + int(cents) * 100


def test_what_is_planted_is_there_for_the_owner(planted: Everything) -> None:
    client = signed_in(planted.people[Role.OWNER])
    pages = (
        "/sales/",
        "/entries/?take=xlsx",
        "/look-ups/rates/",
        "/records/illness/",
        address_of(planted, "recipe"),
        f"/entries/{received().made_by_id}/",
    )
    seen = " ".join(plain(client.get(page)) for page in pages)

    assert [words for words in (*MONEY, CUSTOMER, RECIPE, ILLNESS) if words not in seen] == []


@pytest.mark.parametrize("role", NEVER)
def test_no_page_or_file_shows_a_role_what_it_must_never_see(
    planted: Everything, role: Role
) -> None:
    found = [
        (address, words)
        for address, said in read_by(planted, role)
        for words in NEVER[role]
        if words in said and not (words == CUSTOMER and address.startswith(NAMES_ON))
    ]

    assert found == []


def test_an_inspector_reads_names_on_a_recall(planted: Everything) -> None:
    recall = address_of(planted, "recall")

    assert CUSTOMER in plain(signed_in(planted.people[Role.INSPECTOR]).get(recall))


def read_by(site: Everything, role: Role) -> Iterator[tuple[str, str]]:
    """Give what a role reads: each address, and the text that stands there, numbers unbroken."""
    client = signed_in(site.people[role])
    letter = next(letter for letter, one in ROLES.items() if one == role)
    tabled = [
        address_of(site, name)
        for name, roles in LETS_IN.items()
        if letter in roles and name not in NOT_THERE
    ]
    ahead, done = (
        [*walk(client).values(), *tabled, "/take-away/?take=events", "/take-away/?take=key-data"],
        set(),
    )
    while ahead:
        address = ahead.pop()
        if address in done:
            continue
        done.add(address)
        answer = client.get(address)
        if answer.status_code == 200:
            ahead += [joined(address, link) for link in FILE.findall(raw(answer))]
            yield address, plain(answer)


def joined(address: str, link: str) -> str:
    link = unescape(link)
    return address.split("?")[0] + link if link.startswith("?") else link


def raw(answer: Answered) -> str:
    return answer.content.decode("utf-8", "replace")


def plain(answer: Answered) -> str:
    """The words of a page or of the sheets of a spreadsheet; no thousands are parted."""
    content = answer.content
    if content.startswith(b"PK"):
        with ZipFile(BytesIO(content)) as packed:
            parts = [name for name in packed.namelist() if name.endswith(".xml")]
            content = b" ".join(packed.read(name) for name in parts)
    said = unescape(content.decode("utf-8", "replace"))
    return re.sub(r"(?<=\d)[,\u2009\u202f\u00a0' ](?=\d{3})", "", said)
