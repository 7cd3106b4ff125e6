"""Whom a recall must reach: who got of it, with or without a name, and what came of calls to them.

Somebody who got more after a call is to be told again; who could not be spoken to on two different
days was not to be reached.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from farm.models import Recall, RecallCall
from farm.queries.tracing.frozen_lists import Frozen
from farm.queries.tracing.reach import Lists

# Own rule: who could not be spoken to on so many days was not to be reached.
DAYS_TRIED = 2
CUSTOMER, PLACE, GIVEN = "customer", "place", "given"


class Whom(NamedTuple):
    """A customer by key, a place without names by its name, or those given for one reason."""

    kind: str
    key: str


@dataclass(frozen=True)
class Called:
    """What came of all calls to one customer or place."""

    calls: int
    reached: bool
    last_answer: str
    recovered_mg: int


NOT_CALLED = Called(0, False, "", 0)


@dataclass(frozen=True)
class Contact:
    """Somebody who got some of it. ``news_at``: when the last of it came on the list.

    ``told``: spoken to since then; ``tried``: on how many days since then nobody was. ``struck``:
    all that they got was let go. ``again``: spoken to before, and got more since.
    """

    whom: Whom
    codes: tuple[str, ...]
    news_at: datetime
    called: Called
    told: bool
    tried: int
    struck: bool

    @property
    def is_done(self) -> bool:
        return self.struck or self.told or self.tried >= DAYS_TRIED

    @property
    def again(self) -> bool:
        return self.called.reached and not self.told


class Got(NamedTuple):
    whom: Whom
    code: str
    entry: int
    recorded_at: datetime
    mass_mg: int


def received(lists: Lists) -> Iterator[Got]:
    """Say who got which lot by which entry, with a name or without."""
    for sale in lists.sales:
        if sale.customer_id is not None and sale.what == "sold":
            whom = Whom(CUSTOMER, str(sale.customer_id))
            yield Got(whom, sale.lot_code, sale.entry, sale.recorded_at, sale.amount.mass_mg or 0)
    for one in lists.unnamed:
        whom = Whom(GIVEN, one.why) if one.why else Whom(PLACE, one.place)
        mass_mg = next(filter(None, (a.mass_mg for a in (one.loaded, one.sold, one.given))), 0)
        yield Got(whom, one.lot_code, one.entry, one.recorded_at, mass_mg)


def contacts_of(
    recall: Recall,
    frozen: Frozen,
    now: Lists,
    *,
    came: Mapping[str, datetime],
    left: frozenset[str],
    calls: Sequence[RecallCall],
    zone: ZoneInfo,
) -> tuple[Contact, ...]:
    """Everybody on both lists: with when there was news for them last, and what came of calls."""
    first = list(received(frozen))
    known = {(got.whom, got.code, got.entry) for got in first}
    news = dict.fromkeys([got.whom for got in first], recall.opened_at)
    codes: dict[Whom, list[str]] = defaultdict(list)
    for got in first:
        codes[got.whom].append(got.code)
    for got in received(now):
        codes[got.whom].append(got.code)
        if (got.whom, got.code, got.entry) not in known:
            at = max(got.recorded_at, came.get(got.code, got.recorded_at))
            news[got.whom] = max(at, news.get(got.whom, at))
    by_whom: dict[Whom, list[RecallCall]] = defaultdict(list)
    for call in calls:
        by_whom[whom_of(call)].append(call)
    return tuple(
        _contact(
            whom,
            tuple(dict.fromkeys(codes[whom])),
            news_at,
            calls=by_whom[whom],
            is_news=news_at > recall.opened_at,
            struck=set(codes[whom]) <= left,
            zone=zone,
        )
        for whom, news_at in sorted(news.items())
    )


def _contact(
    whom: Whom,
    codes: tuple[str, ...],
    news_at: datetime,
    *,
    calls: Sequence[RecallCall],
    is_news: bool,
    struck: bool,
    zone: ZoneInfo,
) -> Contact:
    """Count the calls made, and written down, since the news; a call is timed to the minute."""
    minute = news_at.replace(second=0, microsecond=0)
    since = [
        call
        for call in calls
        if not is_news or (call.called_at >= minute and call.recorded_at >= news_at)
    ]
    days = {call.called_at.astimezone(zone).date() for call in since if not call.reached}
    return Contact(
        whom=whom,
        codes=codes,
        news_at=news_at,
        called=_called(calls),
        told=any(call.reached for call in since),
        tried=len(days),
        struck=struck,
    )


def whom_of(call: RecallCall) -> Whom:
    if call.customer_id is not None:
        return Whom(CUSTOMER, str(call.customer_id))
    return Whom(GIVEN, call.given) if call.given else Whom(PLACE, str(call.place))


def _called(calls: Sequence[RecallCall]) -> Called:
    if not calls:
        return NOT_CALLED
    return Called(
        calls=len(calls),
        reached=any(call.reached for call in calls),
        last_answer=calls[-1].answer,
        recovered_mg=sum(call.recovered_mg for call in calls),
    )
