"""A farm on which something stands at every address of the site, for tests of who may open it.

Selma, a seller, has two stall days of her own beside the owner's: one settled, one still open.
"""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from PIL import Image

from farm.actions.accounts.invoicing import issue_for_sale
from farm.actions.accounts.payments import Paid, enter_payment
from farm.actions.common import Doing, Draw
from farm.actions.months.bills import BillSaid, enter_bill
from farm.actions.orders.orders import write_note
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.actions.signing import Signed
from farm.actions.store.counting import Counted, keep_count
from farm.actions.tracing.drilling import start_drill
from farm.actions.tracing.recalling import open_recall
from farm.models import BillKind, ClosedFile, Person, Photo, Recipe, Role, Sale, StallDay
from farm.queries.tracing.reach import reach_of
from farm.queries.tracing.suspects import suspect_lots
from ledger.models import Entry, Lot
from tests.conftest import person_in_role
from tests.farm.closed import SEPTEMBER, close
from tests.farm.kept import cleaned, pinned
from tests.farm.photos import jpeg
from tests.farm.season import Season, season
from tests.farm.sold import may_invoice, order
from tests.farm.world import UNIT, World, fresh

MARKET_DAY = date(2026, 10, 24)


@dataclass(frozen=True)
class Everything:
    """``people`` by role; ``at``: what each address that names something is opened for."""

    lots: Season
    people: dict[Role, Person]
    at: dict[str, list[object]]

    @property
    def world(self) -> World:
        return self.lots.world


def everything() -> Everything:
    lots = season()
    world = lots.world
    may_invoice(world)
    people = {
        role: person_in_role(role, name)
        for role, name in (
            (Role.SELLER, "selma"),
            (Role.BOOKKEEPER, "rita"),
            (Role.INSPECTOR, "inga"),
        )
    }
    people |= {Role.OWNER: pinned(world.owner), Role.HELPER: pinned(world.helper)}
    at = _at_the_stall(lots, people[Role.SELLER]) | _in_the_books(lots) | _looked_into(lots)
    at |= _of_the_farm(world)
    return Everything(lots, people, at)


def stall_load(
    lots: Season, seller: Person, lot: Lot, quantity: int, *, doing: Doing | None = None
) -> StallDay:
    lines = [Draw(fresh(lot), quantity)]
    doing = doing or lots.world.doing(by=seller, sure=True)  # the packs are past their days
    loaded = load_stall(doing, place=lots.world.stall, day=MARKET_DAY, lines=lines)
    return StallDay.objects.get(entry=loaded.entry)


def _at_the_stall(lots: Season, seller: Person) -> dict[str, list[object]]:
    settled, waiting = (stall_load(lots, seller, lots.packs, packs) for packs in (2, 1))
    done = settle_stall(
        lots.world.doing(by=seller), stall_day=settled, brought_back={}, prices={}
    ).entry
    code = lots.packs.code
    photo = Photo.objects.create(
        entry=done,
        by=seller,
        added_at=lots.world.now,
        image=jpeg(Image.new("RGB", (1, 1))),
        width=1,
        height=1,
    )
    return {
        "photo": [photo.pk],
        "photo-remove": [photo.pk],
        "entry-photo": [done.seq],
        "stall-day": [done.seq],
        "stall-cash": [done.seq],
        "fee-sheet": [lots.world.stall.pk],
        "till": [waiting.pk],
        "till-tap": [waiting.pk],
        "till-price": [waiting.pk],
        "entry": [done.seq],
        "entry-undo": [done.seq],
        "entry-correct": [done.seq],
        "lot": [code],
        "cost-of": [code],
        "trace-of": [code],
        "where-of": [code],
        "record-action": ["load-stall"],
    }


def _in_the_books(lots: Season) -> dict[str, list[object]]:
    world = lots.world
    asked, sale = order(world, 1), Sale.objects.get(entry=lots.delivery.entry)
    note, invoice = write_note(sale), issue_for_sale(world.doing(), sale, simple=False)
    paid = Paid(customer=world.customer, amount_money=UNIT, paid_on=world.now.date())
    payment = enter_payment(world.doing(), paid)
    close(world)
    said = BillSaid(month=SEPTEMBER, kind=BillKind.ENERGY, paid_money=UNIT)
    bill = enter_bill(world.owner, said, uuid=uuid4(), at=world.now)
    return {
        "order": [asked.pk],
        "order-less": [asked.pk, "stop"],
        "set-aside": [asked.pk, asked.due_on, "set-aside"],
        "payment-new": ["enter"],
        "note": [note],
        "note-write": [sale.entry_id],
        "invoice-sale": [sale.entry_id],
        "invoice": [invoice],
        "invoice-change": [invoice],
        "payment-back": [payment.pk],
        "payment-right": [payment.pk],
        "receipt": [payment.pk],
        "statement": [world.customer.pk],
        "month-of": ["2026-10"],
        "month-close": ["2026-09"],
        "year": [2026],
        "closed-file": [ClosedFile.objects.all()[0].name],
        "bill-back": [bill.pk],
        "against-of": [lots.grown.blocks.code],
        "decision": ["second-flush"],
        "decision-of": ["contamination", "2026-10"],
    }


def _looked_into(lots: Season) -> dict[str, list[object]]:
    world = lots.world
    drill = start_drill(world.doing(), lots.packs, by_chance=False)
    reached = reach_of(suspect_lots([lots.grown.grain]))
    recall = open_recall(world.doing(reason="green dust"), reached, notice="Do not eat it.")
    record = cleaned(world)
    counted = Counted(
        uuid=uuid4(), happened_at=world.now, room=None, hidden=False, found=[(lots.dried, 0)]
    )
    count = keep_count(Signed(world.owner, world.owner), counted)
    run = Entry.objects.filter(kind="steriliser run")[0].seq
    of_record: list[object] = ["cleaning", record.pk]
    return {
        "drill": [drill.number],
        "recall": [recall.number],
        "recall-call": [recall.number],
        "recall-notice": [recall.number],
        "recall-take-out": [recall.number],
        "record-list": ["cleaning"],
        "record-add": ["cleaning"],
        "record-one": of_record,
        "record-settle": [*of_record, "review"],
        "record-photo": of_record,
        "run-readings": [run],
        "run-readings-add": [run],
        "stock-count": [count.pk],
        "store": [world.fridge_shelf.room.pk],
    }


def _of_the_farm(world: World) -> dict[str, list[object]]:
    other = pinned(person_in_role(Role.OWNER, "zoe"))  # may enter at everybody's device
    return {
        "start-undo": [1],
        "card-saved": [1],
        "share": [1],
        "box-left": [1, 1],
        "who-pin": [other.pk],
        "person-change": [world.helper.pk],
        "lookup": ["rooms"],
        "lookup-add": ["rooms"],
        "lookup-change": ["rooms", world.shelf.room.pk],
        "recipe": [Recipe.objects.all()[0].pk],
        "recipe-version": [Recipe.objects.all()[0].pk],
        "shelf-weigh": [world.fridge_shelf.pk],
        "wall-sheet": ["picks", "2026-10-01"],
        "wall-type-up": ["checks", "2026-10-01", 1],
        "unfinished-drop": [uuid4()],
        "calendar-feed": ["no-secret"],
    }
