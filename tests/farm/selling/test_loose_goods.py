"""What is sold loose has its own price and its own sales tax, by what it is and from a day on.

Every sum is worked by hand beside it; the rates are invented.
"""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from farm.actions.accounts.invoicing import issue_invoice
from farm.actions.common import Draw, card, item_for, post
from farm.actions.orders.orders import Wanted
from farm.actions.questions import PlausibilityQuestion
from farm.actions.recording.correcting import correct_quantity
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.actions.selling.stalls import load_stall, settle_stall
from farm.kinds.kind import Kind
from farm.models import (
    AgreedPrice,
    Grade,
    Invoice,
    Loose,
    LooseGoods,
    Price,
    Product,
    SaleLine,
    SalesTax,
    Stage,
    sales_tax_ppm,
)
from farm.queries.accounts.invoices import lines_of, rate_totals
from farm.queries.costs.kilos import kilos_from
from farm.queries.months.months import month_figures, month_with
from farm.queries.orders.orders import due_order
from farm.queries.selling.prices import listed_price, ordered_price
from farm.queries.selling.till import till_goods
from farm.reports.months.month_rows import month_report
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Entry, Lot, Role
from tests.conftest import signed_in
from tests.farm.filled import send, text
from tests.farm.goods import crop, money, packs
from tests.farm.season import MADE
from tests.farm.sold import selling_farm, wanted
from tests.farm.world import (
    FIRST_DAY,
    GRAM,
    KG,
    UNIT,
    World,
    assert_book_is_sound,
    fresh,
    grow_spawn,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
FIVE, SEVEN, NINETEEN = 50_000, 70_000, 190_000


@pytest.fixture
def world() -> World:
    return selling_farm()


def loose(world: World, stage: Stage, grade: str = "", mass_mg: int = 10 * KG) -> Lot:
    """A lot that is sold by weight; what it was made of does not matter here."""
    words = f"{stage.label} {grade} {world.species}"
    line = LineDraft(NewLot(item_for(words)), Role.BOUGHT, mass_mg, 50 * UNIT)
    lot = post(world.doing(), Kind("bought"), [line]).lots[0]
    card(lot, stage, species=world.species, grade=grade)
    return fresh(lot)


def taxed(world: World, state: str, rate_ppm: int, from_day: date = date(2026, 1, 1)) -> SalesTax:
    return SalesTax.objects.create(
        species=world.species, state=state, from_day=from_day, rate_ppm=rate_ppm
    )


def agreed(world: World, units: int, **what: object) -> AgreedPrice:
    said = {"species": world.species, "from_day": FIRST_DAY, **what}
    return AgreedPrice.objects.create(customer=world.customer, unit_money=units * UNIT, **said)


def delivered(world: World, *lines: SoldLine) -> Recorded:
    return sell(world.doing(minutes=0, sure=True), place=world.kitchens,
                customer=world.customer, lines=lines)  # fmt: skip


# --- prices ----------------------------------------------------------------------------------


def test_a_species_alone_is_its_fresh_firsts(world: World) -> None:
    row = agreed(world, 17)

    assert (row.state, row.grade) == ("fresh", "firsts")
    assert row.what == LooseGoods(world.species, "fresh", "firsts")
    assert str(row.what) == f"{world.species}, loose"
    others = [LooseGoods.of(world.species, state, "seconds") for state in Loose.values]
    assert [str(one) for one in others] == [
        "Oyster, seconds, loose", "Oyster, dried, loose", "Oyster, spent blocks",
        "Oyster, grain spawn",
    ]  # fmt: skip


def test_no_price_of_dried_is_taken_from_fresh_and_none_of_seconds_from_firsts(
    world: World,
) -> None:
    agreed(world, 17)
    day = world.now.date()
    of = {
        one: listed_price(world.kitchens, day, customer=world.customer, what=lot.card.goods)
        for one, lot in {
            "firsts": loose(world, Stage.CROP, Grade.FIRSTS),
            "not graded": crop(world),
            "seconds": loose(world, Stage.CROP, Grade.SECONDS),
            "trim": loose(world, Stage.CROP, Grade.TRIM),
            "dried": loose(world, Stage.DRIED),
            "spent": loose(world, Stage.SPENT),
        }.items()
    }

    assert {name for name, price in of.items() if price} == {"firsts", "not graded"}


def test_each_state_and_grade_has_its_own_agreed_price_from_a_day_on(world: World) -> None:
    agreed(world, 17)
    agreed(world, 9, grade=Grade.SECONDS)
    agreed(world, 140, state=Loose.DRIED)
    agreed(world, 150, state=Loose.DRIED, from_day=world.now.date())
    dried, seconds = loose(world, Stage.DRIED), loose(world, Stage.CROP, Grade.SECONDS)

    def price(lot: Lot, day: date) -> int:
        found = listed_price(world.kitchens, day, customer=world.customer, what=lot.card.goods)
        assert found
        return found.unit_money // UNIT

    today = world.now.date()
    assert [price(dried, today - DAY), price(dried, today), price(seconds, today)] == [140, 150, 9]


def test_a_place_lists_loose_goods_by_the_pound(world: World) -> None:
    # 2 lb are 907,185 mg, rounded from 907,184.74; at 12.00 a pound 24.00.
    Price.objects.create(species=world.species, place=world.stall, from_day=FIRST_DAY,
                         pack_money=12 * UNIT, weight_unit="lb")  # fmt: skip
    lot = crop(world)
    doing = world.doing(minutes=0)
    load_stall(doing, place=world.stall, day=doing.day, lines=[Draw(lot, 907_185)])
    stall_day = lot.load_lines.get().stall_day

    # The farm taps kilograms: no price a kilogram is listed, so the till asks for one.
    assert till_goods(stall_day)[0].list_money is None
    world.farm.weight_unit = "lb"
    world.farm.save()
    assert till_goods(stall_day)[0].list_money == 12 * UNIT

    recorded = settle_stall(world.doing(minutes=0), stall_day=stall_day, brought_back={}, prices={})
    assert money(recorded.entry) == [(24 * UNIT, 0, 24 * UNIT)]


def test_loose_goods_have_one_price_a_day_at_a_place(world: World) -> None:
    said = {"species": world.species, "place": world.stall, "from_day": FIRST_DAY}
    Price.objects.create(**said, pack_money=UNIT)
    Price.objects.create(**said, pack_money=UNIT, grade=Grade.SECONDS)

    with pytest.raises(ValidationError, match="There is a row for that from this day on"):
        Price(**said, pack_money=2 * UNIT, grade=Grade.FIRSTS).full_clean()
    with pytest.raises(ValidationError, match="Choose a product, or a species"):
        Price(place=world.stall, from_day=FIRST_DAY, pack_money=UNIT).full_clean()


def test_an_order_of_seconds_is_no_order_of_firsts(world: World) -> None:
    agreed(world, 17)
    seconds = LooseGoods.of(world.species, Loose.FRESH, Grade.SECONDS)
    with pytest.raises(Malformed, match="Oyster, seconds, loose: state the price of a kilogram"):
        wanted(world, Wanted(seconds, KG))

    order = wanted(world, Wanted(world.species, KG), Wanted(seconds, KG, 9 * UNIT))
    due = due_order(order, order.due_on)
    assert due and due.in_words.count("Oyster") == 2
    prices = [
        ordered_price(due, loose(world, Stage.CROP, grade))
        for grade in (Grade.FIRSTS, Grade.SECONDS, Grade.TRIM)
    ]
    assert [price and price.unit_money for price in prices] == [17 * UNIT, 9 * UNIT, None]


def test_the_form_asks_where_no_price_is_agreed(world: World) -> None:
    agreed(world, 17)
    client, lot = signed_in(world.owner), loose(world, Stage.DRIED)
    address = f"/record/sell/?place={world.kitchens.pk}"
    sent = {f"sold_{lot.pk}": "1 kg", "customer": world.customer.pk}
    asked = text(send(client, address, **sent))

    assert "no price of Oyster, dried, loose at Kitchens is known" in asked
    assert not SaleLine.objects.exists()
    send(client, address, **sent, **{f"price_{lot.pk}": "140"})
    assert SaleLine.objects.get().net == 140 * UNIT


# --- tax -------------------------------------------------------------------------------------


def test_each_state_carries_the_rate_of_what_it_is(world: World) -> None:
    taxed(world, Loose.FRESH, FIVE)
    taxed(world, Loose.SPENT, NINETEEN)
    lots = [loose(world, Stage.CROP, Grade.SECONDS), loose(world, Stage.DRIED),
            loose(world, Stage.SPENT)]  # fmt: skip
    entry = delivered(world, *(SoldLine(lot, 1_500 * GRAM, 9 * UNIT) for lot in lots)).entry

    # 1.5 kg at 9.00 are 13.50; 5 % on top is 0.675, so 14.175, rounded up to 14.18; no rate is
    # known of dried; 19 % is 2.565, so 16.065, rounded up to 16.07.
    assert money(entry) == [
        (135_000, 6_800, 141_800), (135_000, 0, 135_000), (135_000, 25_700, 160_700)
    ]  # fmt: skip


def test_spawn_is_sold_by_weight_with_its_own_tax_and_is_no_kilo_of_mushrooms(
    world: World,
) -> None:
    """2 kg at 8.00 with 19 % on top: 16.00, 3.04 and 19.04."""
    taxed(world, Loose.SPAWN, NINETEEN)
    spawn = grow_spawn(world)[2]
    before = fresh(spawn)
    client = signed_in(world.owner)
    sent = {f"sold_{spawn.pk}": "2 kg", f"price_{spawn.pk}": "8", "customer": world.customer.pk}
    address = f"/record/sell/?place={world.kitchens.pk}"
    assert "grain spawn" in text(client.get(address))
    send(client, address, **sent)

    (row,) = SaleLine.objects.values_list("net", "tax", "gross", "tax_ppm")
    assert row == (16 * UNIT, 30_400, 190_400, NINETEEN)
    assert fresh(spawn).quantity == before.quantity - 2 * KG
    assert kilos_from(fresh(spawn)).fresh == ()
    assert_book_is_sound()


def test_a_sale_entered_late_takes_the_rate_of_its_own_day(world: World) -> None:
    """The rate changes in mid month, from 5 to 7 %: 10 kg at 10.00 are 105.00, then 107.00."""
    lot = crop(world, 40 * KG)
    world.wait(14)
    change = world.now.date()
    taxed(world, Loose.FRESH, FIVE)
    taxed(world, Loose.FRESH, SEVEN, from_day=change)
    world.product.sales_taxes.create(from_day=change, rate_ppm=SEVEN)
    gross = []
    for back in (0, 1, 2):
        doing = world.doing(minutes=0, sure=True)
        late = type(doing)(**{**vars(doing), "happened_at": doing.happened_at - back * DAY})
        entry = sell(late, place=world.kitchens, customer=world.customer,
                     lines=[SoldLine(lot, 10 * KG, 10 * UNIT)]).entry  # fmt: skip
        gross += [row[2] // UNIT for row in money(entry)]

    assert gross == [107, 105, 105]
    packed = [sales_tax_ppm(world.product, change - DAY), sales_tax_ppm(world.product, change)]
    assert packed == [40_000, SEVEN]


def test_a_correction_and_a_return_keep_the_rate_of_the_sale(world: World) -> None:
    taxed(world, Loose.FRESH, FIVE)
    lot = crop(world)
    entry = delivered(world, SoldLine(lot, 2 * KG, 10 * UNIT)).entry
    taxed(world, Loose.FRESH, SEVEN, from_day=world.now.date())
    correct_quantity(world.doing(), entry, lot=lot, role=Role.SOLD, right_quantity=4 * KG)
    row = SaleLine.objects.order_by("pk")[0]
    take_back(world.doing(minutes=0), sale_line=row, quantity=KG)

    # 20.00 + 5 %; then 40.00 in all, and 10.00 given back with its 0.50.
    rows = SaleLine.objects.order_by("pk").values_list("net", "tax", "tax_ppm")
    assert list(rows) == [
        (20 * UNIT, UNIT, FIVE), (20 * UNIT, UNIT, FIVE), (-10 * UNIT, -5_000, FIVE)
    ]  # fmt: skip
    assert_book_is_sound()


def test_two_rates_on_one_invoice_and_in_the_month_agree(world: World) -> None:
    taxed(world, Loose.FRESH, SEVEN)
    taxed(world, Loose.DRIED, NINETEEN)
    world.product.sales_taxes.create(from_day=FIRST_DAY, rate_ppm=SEVEN)
    Price.objects.update(tax_included=False)
    lots = crop(world), loose(world, Stage.DRIED), packs(world)
    delivered(world, SoldLine(lots[0], 2_345 * GRAM, 17 * UNIT),
              SoldLine(lots[1], 333 * GRAM, 140 * UNIT), SoldLine(lots[2], 3, 45_500))  # fmt: skip
    doing = world.doing()
    invoice: Invoice = issue_invoice(doing, world.customer, until=doing.day)

    # 2.345 kg at 17.00: 39.865 -> 39.87 and 7 %: 42.6609 -> 42.66, so 2.79 tax
    # 3 packs at 4.55: 13.65 and 7 %: 14.6055 -> 14.61, so 0.96
    # 0.333 kg at 140.00: 46.62 and 19 %: 55.4778 -> 55.48, so 8.86
    by_hand = [(SEVEN, 535_200, 37_500, 572_700), (NINETEEN, 466_200, 88_600, 554_800)]
    rates = rate_totals(lines_of(invoice))
    assert [(one.tax_ppm, one.net, one.tax, one.gross) for one in rates] == by_hand
    report = month_report(month_figures(month_with(invoice.issued_on)), MADE)
    (table,) = [one for one in report.tables if one.title == "Sales tax by rate"]
    assert list(table.rows) == by_hand


def test_a_product_keeps_the_rate_that_its_sales_carry(world: World) -> None:
    client = signed_in(world.owner)
    address = f"/look-ups/products/{world.product.pk}/change/"
    form = client.get(address).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields} | {"tax_ppm": "9"}
    lot = packs(world)
    delivered(world, SoldLine(lot, 1, 5 * UNIT))
    refused = text(client.post(address, sent))

    assert "From which day on? Add the new rate under Farm details, sales tax rates." in refused
    assert Product.objects.get().tax_ppm == 40_000
    client.post(address, sent | {"tax_ppm": "4", "label_text": "Eat soon"})
    assert Product.objects.get().label_text == "Eat soon"


def test_a_rate_is_added_by_its_form_and_stands_in_the_list(world: World) -> None:
    client = signed_in(world.owner)
    client.post("/look-ups/sales-tax/add/", {
        "product": "", "species": world.species.pk, "state": "spent", "from_day": "2026-07-01",
        "rate_ppm": "19",
    })  # fmt: skip

    row = SalesTax.objects.get()
    assert (row.state, row.rate_ppm) == ("spent", NINETEEN)
    assert "Oyster, spent blocks" in text(client.get("/look-ups/sales-tax/"))
    assert sales_tax_ppm(LooseGoods(world.species, "spent"), date(2026, 6, 30)) == 0
    assert sales_tax_ppm(LooseGoods(world.species, "spent"), date(2026, 7, 1)) == NINETEEN


# --- whose it was ----------------------------------------------------------------------------


@pytest.fixture
def client(world: World) -> Client:
    return signed_in(world.owner)


def test_a_sale_to_kitchens_asks_for_its_customer(world: World) -> None:
    line = SoldLine(crop(world), KG, 17 * UNIT)
    with pytest.raises(PlausibilityQuestion, match="Nobody is named who bought it at Kitchens"):
        sell(world.doing(), place=world.kitchens, lines=[line])

    sold = sell(world.doing(sure=True), place=world.kitchens, lines=[line]).entry
    assert "Nobody is named who bought it" in sold.particulars
    # Who comes by at a stall has no name.
    assert sell(world.doing(minutes=0), place=world.stall, lines=[line]).fresh


def test_the_customer_that_is_missing_is_added_and_chosen_in_the_form(
    world: World, client: Client
) -> None:
    lot = crop(world)
    world.customer.delete()
    address = f"/record/sell/?place={world.kitchens.pk}"
    assert 'name="customer"' in text(client.get(address))
    page = text(send(client, address, **{f"sold_{lot.pk}": "2 kg", f"price_{lot.pk}": "17"}))
    assert "Nobody is named who bought it at Kitchens" in page
    assert "Add a customer" in page

    start = page.index("/look-ups/customers/add/")
    add = page[start : page.index('"', start)].replace("&amp;", "&")
    said = {"name": "The Mill", "place": world.kitchens.pk, "least_days": 0, "stop": 0}
    back = client.post(add, said)["Location"]
    form = client.get(back).context["form"]

    assert form["customer"].value() == str(world.kitchens.customers.get().pk)
    assert form[f"sold_{lot.pk}"].value() == "2 kg"


def test_a_sale_from_a_phone_that_names_nobody_is_mended_by_choosing_the_customer(
    world: World, client: Client
) -> None:
    now = timezone.now()
    world.now = now - timedelta(hours=2)
    lot = crop(world)
    form = client.get(f"/record/sell/?place={world.kitchens.pk}").context["form"]
    sent = {
        f"sold_{lot.pk}": "2 kg", f"price_{lot.pk}": "17", "uuid": form["uuid"].value(),
        "when": f"{now:%Y-%m-%dT%H:%M}", "phone_saved_at": now.isoformat(),
        "phone_sent_at": now.isoformat(),
    }  # fmt: skip
    asked = client.post(
        f"/record/sell/?place={world.kitchens.pk}", sent, headers={"accept": "application/json"}
    )
    assert "Nobody is named who bought it" in asked.json()["question"]["words"]

    # A customer is known, so the way leads to the form, and its answer is taken.
    address = f"/record/sell/?waiting={sent['uuid']}"
    assert address in text(client.get("/unfinished/"))
    answer = client.post(address, sent | {"customer": str(world.customer.pk)})
    assert answer.status_code == 302
    assert fresh(lot).quantity == lot.quantity - 2 * KG
    assert "Nobody is named" not in Entry.objects.get(kind="sell").particulars
