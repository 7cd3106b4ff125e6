"""What is measured of pages: how long a list takes, what it weighs and how often it asks."""

from collections.abc import Callable
from functools import partial

from django.conf import settings
from django.db import connection
from django.test import Client

from farm.models import Person
from tests.bench.timing import median
from tests.weighing import weight_of

# Lists whose tables hold ten times the rows in the larger book.
LISTS = ("/lots/", "/lots/?on_hand=", "/entries/", "/sales/", "/look-ups/customers/")
OTHERS = ("/", "/stock/", "/record/", "/style/")


def measure_pages(owner: Person) -> dict[str, float]:
    """Print what each page takes, weighs and asks; return the seconds of the lists."""
    settings.ALLOWED_HOSTS = ["testserver"]
    client = Client()
    client.force_login(owner.user)
    print(f"\n{'page, as the owner sees it':44} {'ms':>10} {'kB':>10} {'queries':>8}")
    seconds = {page: _measure(client, page) for page in (*LISTS, *OTHERS)}
    return {page: seconds[page] for page in LISTS}


def _measure(client: Client, page: str) -> float:
    asked: list[str] = []

    def noted(run: Callable[..., object], sql: str, *rest: object) -> object:
        asked.append(sql)
        return run(sql, *rest)

    with connection.execute_wrapper(noted):
        response = client.get(page)
    assert response.status_code == 200, page
    seconds = median(partial(client.get, page), runs=5)
    weight = weight_of(client, response) / 1000
    print(f"{page:44} {seconds * 1e3:10.1f} {weight:10.1f} {len(asked):8}")
    return seconds
