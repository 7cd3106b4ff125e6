"""How many addresses the site has: a new page is folded into one that is there, if it can be."""

from collections.abc import Iterable, Iterator

from django.urls import URLPattern, URLResolver, get_resolver

MOST = 135


def every(patterns: Iterable[URLPattern | URLResolver], before: str = "") -> Iterator[str]:
    """Give every address as the site's resolver sees it."""
    for pattern in patterns:
        address = f"{before}{pattern.pattern}"
        if isinstance(pattern, URLResolver):
            yield from every(pattern.url_patterns, address)
        else:
            yield address


def test_the_site_has_no_more_addresses_than_it_needs() -> None:
    addresses = list(every(get_resolver().url_patterns))

    assert len(addresses) == len(set(addresses))
    assert len(addresses) <= MOST
