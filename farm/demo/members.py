"""Members of the invented farm, who pay a season of boxes ahead; packs on the scale; promises."""

from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

from farm.actions.accounts.payments import Paid, enter_payment
from farm.actions.common import Draw, on_hand
from farm.actions.orders.allotting import allocate
from farm.actions.orders.boxes import note_left
from farm.actions.orders.orders import Wanted, deliver, pause_order
from farm.actions.orders.shares import Season, take_share
from farm.actions.selling.selling import SoldLine
from farm.actions.store.check_weights import check_weights
from farm.demo.clock import Year
from farm.demo.scenery import COIN, GRAM
from farm.models import BoxDelivery, Customer, Method, Share, Stage
from farm.queries.orders.allocations import keeps, sellable, suggested
from farm.queries.orders.orders import DueOrder, due_between
from farm.queries.selling.prices import ordered_price
from ledger.models import Lot

SEASON_WEEK, REST_WEEK, LEFT_WEEK = 45, 47, 49
BOX_PRICE = 13 * COIN
CHECKED_PACKS = 5
CHECK_EVERY_WEEKS = 4
# Members: name, boxes, every so many weeks, and how much of the season each pays on which day.
MEMBERS = (
    ("A. Birch", 20, 1, ((0, 100),)),
    ("Mill Lane house", 20, 1, ((0, 50), (35, 50))),
    ("R. Oake", 10, 2, ((3, 40), (84, 60))),
)


def set_boxes_aside(year: Year, week: int) -> None:
    """Set tomorrow's boxes aside; in the first week of the season, members come first."""
    if week == SEASON_WEEK:
        _take_shares(year)
    for due in _boxes(year.clock.date() + timedelta(days=1)) if week >= SEASON_WEEK else ():
        allocate(year.doing("tam"), order=due.order, due_on=due.day)


def give_boxes(year: Year, week: int) -> None:
    """Give today's boxes out before the market opens."""
    for due in _boxes(year.clock.date()) if week >= SEASON_WEEK else ():
        _give_box(year, due, week)


def weigh_packs(year: Year, week: int) -> None:
    """Put some of the day's packs on the scale: filled by hand, so they scatter."""
    if week % CHECK_EVERY_WEEKS:
        return
    hand = Random(week)
    tare = 9 * GRAM
    for lot in on_hand(Stage.PACKS, product__form="fresh"):
        if lot.made_by.happened_on == year.clock.date() and lot.quantity >= CHECKED_PACKS:
            filled = filled_mg(week, lot.unit_mass_mg or 0)
            gross = [tare + round(hand.gauss(filled, 1_500)) for _ in range(CHECKED_PACKS)]
            check_weights(
                year.doing("tam"),
                lot=lot,
                tare_mg=tare,
                gross_mg=gross,
                scale="Bench scale 2 (invented), sealed until 2027",
            )


def filled_mg(week: int, declared_mg: int) -> int:
    """A little over what is declared, until the check weights say that it is too little."""
    return declared_mg + (4 if week < 30 else 14) * GRAM


# --- parts -----------------------------------------------------------------------------------


def _boxes(day: date) -> list[DueOrder]:
    return [due for due in due_between(day, day) if due.order.share and due.is_open]


def _take_shares(year: Year) -> None:
    place = year.scenery.places["boxes"]
    first = year.clock.date() + timedelta(days=1)
    products = year.scenery.products
    for at, (name, boxes, every, payments) in enumerate(MEMBERS, start=5):
        member = Customer.objects.create(
            name=name, place=place, stop=at, address="Varnby (invented)", contact=f"0555 030{at}"
        )
        share = take_share(
            year.doing("nora", sure=True),
            customer=member,
            season=Season(first, every, boxes, BOX_PRICE),
            lines=[Wanted(products["oyster"], 2), Wanted(products["shiitake"], 1)],
        )
        for days, percent in payments:
            _pay_later(year, share, days=days, percent=percent)


def _pay_later(year: Year, share: Share, *, days: int, percent: int) -> None:
    def pay() -> None:
        paid = Paid(
            customer=share.customer,
            share=share,
            paid_on=year.clock.date(),
            method=Method.BANK,
            amount_money=share.promised_money * percent // 100,
        )
        enter_payment(year.doing("nora"), paid)

    if days:
        year.after(days, pay)
    else:
        pay()


def _give_box(year: Year, due: DueOrder, week: int) -> None:
    """Give what was set aside; where nothing is there, or on holiday, the box comes later."""
    taken = suggested(due, sellable(due))
    if not taken or week == REST_WEEK:
        why = "holiday" if week == REST_WEEK else "nothing ripe"
        pause_order(year.doing("nora", why), due.order, first=due.day, last=due.day)
        return
    lots = Lot.objects.select_related("card__product", "card__species").in_bulk(taken)
    draws = [Draw(lots[pk], quantity) for pk, quantity in taken.items()]
    lines = []
    for draw in [*draws, *_instead(due, draws)]:
        price = ordered_price(due, draw.lot)
        assert price, "every pack of the played year has a price"
        lines.append(SoldLine(draw.lot, draw.quantity, price.unit_money))
    entry = deliver(year.doing("nora"), order=due.order, due_on=due.day, lines=lines).entry
    if week == LEFT_WEEK and due.order.customer.name == MEMBERS[1][0]:
        box = BoxDelivery.objects.get(note__sale__entry=entry)
        note_left(year.doing("nora", "not collected, given to the food bank"), box)


def _instead(due: DueOrder, draws: Sequence[Draw]) -> list[Draw]:
    """A pack of another species for each that is short, as far as there is one."""
    short = sum(asked.missing for asked in due.asked) - sum(draw.quantity for draw in draws)
    taken = {draw.lot.pk for draw in draws}
    others = on_hand(Stage.PACKS, product__form="fresh").exclude(pk__in=taken)
    for lot in others.select_related("card__product", "card__species"):
        if short > 0 and not lot.held and keeps(lot, due.day):
            return [Draw(lot, min(short, lot.quantity))]
    return []
