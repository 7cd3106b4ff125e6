"""The market days of the played year: loaded, sold, cashed up; some notes differ, as they do.

What happens at the stall is drawn from dice of its own, so that the rest of the year stays as it
is whatever is added here.
"""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from random import Random
from uuid import UUID

from farm.actions.common import Doing, Draw, on_hand
from farm.actions.selling.cashing import CashCount, cash_up, tokens_paid
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.actions.selling.till import tap
from farm.demo.clock import Year
from farm.demo.scenery import COIN
from farm.models import (
    CashWord,
    Discount,
    Given,
    Person,
    Sale,
    SellingPlace,
    Stage,
    StallDay,
    TapOf,
)
from farm.queries.orders.allocations import keeps
from farm.queries.selling.cash import tokens_owed
from ledger.models import Lot

LAST_WEEK, FAIR_WEEKS, TAPPED_WEEKS = 51, 6, 17
CENTS = COIN // 100


def saturday(year: Year, week: int) -> None:
    """Load everything packed for the stall, bring a part of it back, and cash up.

    From the last Saturday the van is not back yet: whoever looks at the farm may settle it.
    """
    packed = list(on_hand(Stage.PACKS, product__form="fresh"))
    dried = [lot for lot in on_hand(Stage.PACKS, product__form="dried") if lot.quantity]
    lots = packed + dried[:3]
    if not lots:
        return
    place, dice = year.scenery.places["stall"], _dice(year, "stall")
    load = _loaded(year.doing("nora"), place, lots, seller=year.scenery.people["sol"])
    if week == LAST_WEEK:
        return
    back = {}
    for lot in lots:
        share = year.dice.uniform(0.0, 0.22) if lot in packed else year.dice.uniform(0.3, 0.8)
        back[lot.pk] = int(lot.quantity * share)
    if week % TAPPED_WEEKS == TAPPED_WEEKS - 1:
        _tap(year, dice, load, lots=packed)
    _settled(year.doing("nora"), load, back=back, dice=dice, packed=packed)
    _pay_tokens(year, dice, week)


def fair(year: Year, week: int) -> None:
    """Take what Saturday left, and still keeps, to a small Sunday fair, now and then."""
    today = year.clock.date()
    lots = [lot for lot in on_hand(Stage.PACKS) if lot.quantity >= 3 and keeps(lot, today)][:4]
    if week % FAIR_WEEKS != FAIR_WEEKS - 1 or not lots:
        return
    dice = _dice(year, "fair")
    load = _loaded(_doing(year, dice), year.scenery.places["fair"], lots)
    back = {lot.pk: int(lot.quantity * dice.uniform(0.2, 0.6)) for lot in lots}
    _settled(_doing(year, dice), load, back=back, dice=dice, packed=[])


def _dice(year: Year, what: str) -> Random:
    return Random(f"{what} {year.clock.date()}")


def _doing(year: Year, dice: Random, minutes: int = 15) -> Doing:
    return Doing(
        by=year.scenery.people["nora"],
        happened_at=year.clock + timedelta(minutes=minutes),
        uuid=UUID(int=dice.getrandbits(128), version=4),
    )


def _loaded(
    doing: Doing, place: SellingPlace, lots: Sequence[Lot], *, seller: Person | None = None
) -> StallDay:
    lines = [Draw(lot, lot.quantity) for lot in lots]
    entry = load_stall(doing, place=place, day=doing.day, lines=lines, seller=seller).entry
    return StallDay.objects.get(entry=entry)


def _settled(
    doing: Doing, load: StallDay, *, back: Mapping[int, int], dice: Random, packed: Sequence[Lot]
) -> None:
    """One pack is cut up for tasting, some are eaten at home, some go cheaper at the end."""
    given: dict[str, list[Draw]] = {}
    for why, often in ((Given.SAMPLE, 0.8), (Given.OWN, 0.25), (Given.GIFT, 0.15)):
        lot = dice.choice(packed) if packed and dice.random() < often else None
        if lot and lot.quantity - back[lot.pk] > 4:
            given[why] = [Draw(lot, 1)]
    off = {}
    if packed and dice.random() < 0.3:
        off = {packed[-1].pk: 50 * CENTS * dice.randint(2, 6)}
    recorded = settle_stall(
        doing,
        stall_day=load,
        brought_back=back,
        prices={},
        besides=Besides(given=given, off_money=off, off_why=Discount.LATE if off else ""),
    )
    count_cash(recorded.entry.sale, doing, dice)


def count_cash(sale: Sale, doing: Doing, dice: Random) -> None:
    """Count the till: cards and tokens pay a part; now and then the cash is a little off."""
    taken = sum(sale.lines.values_list("gross", flat=True))
    cards = taken * dice.randint(35, 55) // 100 // (10 * CENTS) * (10 * CENTS)
    token = sale.place.tokens.first()
    tokens = min(dice.randint(0, 6), (taken - cards) // token.value_money) if token else 0
    paid_out = min(sale.place.day_fee_money, taken - cards)
    off, word = _difference(dice)
    worth = tokens * token.value_money if token else 0
    cash_up(
        Doing(
            by=doing.by,
            happened_at=doing.happened_at + timedelta(minutes=9),
            uuid=UUID(int=dice.getrandbits(128), version=4),
        ),
        sale=sale,
        count=CashCount(
            float_money=sale.place.float_money,
            cash_money=max(0, sale.place.float_money + taken - cards - worth - paid_out + off),
            card_money=cards,
            card_count=cards // (11 * COIN) + 1 if cards else 0,
            paid_out_money=paid_out,
            tokens={token.pk: tokens} if token and tokens else {},
            word=word,
        ),
    )


def _difference(dice: Random) -> tuple[int, str]:
    if dice.random() < 0.6:
        return 0, ""
    off = dice.choice((-440, -200, -100, -50, -20, 10, 50, 100, 200)) * CENTS
    return off, dice.choice((CashWord.CHANGE, CashWord.UNNOTED, CashWord.UNKNOWN, ""))


def _tap(year: Year, dice: Random, load: StallDay, *, lots: Sequence[Lot]) -> None:
    """An hour at the till, tap by tap, with one taken back."""
    items = [lot.item for lot in lots if lot.quantity > 12]
    for at in range(12 if items else 0):
        of = TapOf.SAMPLE if at == 5 else TapOf.SOLD
        tap(_doing(year, dice, at), stall_day=load, item=dice.choice(items), of=of)
    if items:
        last = load.taps.latest("pk").item
        tap(_doing(year, dice, 12), stall_day=load, item=last, quantity=-1)


def _pay_tokens(year: Year, dice: Random, week: int) -> None:
    """The market's association pays once a quarter for the tokens handed in so far."""
    if week % 13 != 12:
        return
    for one in tokens_owed():
        if one.owed_money > 0:
            tokens_paid(
                _doing(year, dice, 30),
                token=one.token,
                day=year.clock.date(),
                amount=one.owed_money,
            )
