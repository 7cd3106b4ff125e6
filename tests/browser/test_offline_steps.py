"""Forms with a first step, without a signal: one kept page serves any number and any lot."""

from datetime import timedelta

from django.utils import timezone
from selenium.webdriver.chrome.webdriver import WebDriver
from selenium.webdriver.common.by import By

from farm.actions.common import Draw
from farm.actions.growing.harvesting import pick
from farm.models import DeliveryNote
from ledger.models import Entry, Lot
from tests.browser.phone import (
    all_sent,
    arrives,
    main_of,
    press,
    send_now,
    type_in,
    until,
    visit_again,
)
from tests.browser.signal import Cable
from tests.farm.goods import packs
from tests.farm.sold import order as sold_order
from tests.farm.sold import sold
from tests.farm.world import (
    GRAM,
    KG,
    World,
    assert_book_is_sound,
    fresh,
    grow_spawn,
    yesterday_morning,
)

# The page as it is two days later, when its time is over.
A_PAST_ROUND = """(await (await caches.open("pages")).put("/record/deliver/",
    new Response("", { headers: { "Ledger-Keep": "2026-01-01T00:00:00Z" } })), true)"""


def sent_from_page(phone: WebDriver, cable: Cable, kind: str) -> Entry:
    """Send the form that is open, get the signal back, and return what was entered."""
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    cable.plug_in()
    send_now(phone)
    all_sent(phone)
    entry = Entry.objects.filter(kind=kind).last()
    assert entry, main_of(phone)
    assert_book_is_sound()
    return entry


def drawn(phone: WebDriver) -> list[str]:
    boxes = phone.find_elements(By.CSS_SELECTOR, ".draws input")
    return [str(box.get_property("value")) for box in boxes]


def next_step(phone: WebDriver) -> None:
    press(phone, "main form button.main")


def test_packing_any_number_is_worked_out_on_the_phone_and_entered(
    phone: WebDriver, cable: Cable, world: World, blocks: Lot
) -> None:
    world.now = timezone.now() - timedelta(hours=6)  # fresh enough to be packed
    older, younger = (
        pick(
            world.doing(), given=[Draw(blocks, 0)], flush=1, firsts_mg=KG, shelf=world.fridge_shelf
        ).lots[-1]
        for _ in range(2)
    )
    world.received("punnet", 20)
    visit_again(phone, cable)
    cable.pull()
    phone.get(f"{cable.url}/record/pack/")
    type_in(phone, "packs", "7")
    next_step(phone)

    # 7 packs of 200 g are filled with 216 g each, to hold 200 g after 6 days (200 / 0.99^6, and
    # 3.29 g for the scatter): 1.512 kg, the older kilo whole and 512 g of the younger.
    until(phone, "document.querySelector('[data-said=packs]')?.innerText.includes('7')")
    assert drawn(phone) == ["1.00 kg", "0.5120 kg"]
    entry = sent_from_page(phone, cable, "pack")

    assert Lot.objects.get(made_by=entry).quantity == 7
    assert (fresh(older).quantity, fresh(younger).quantity) == (0, 488 * GRAM)


def test_a_stop_of_the_round_is_delivered_at_the_back_door_and_its_name_fades(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    world.now = yesterday_morning()
    lot, order = packs(world, 12), sold_order(world, 8)
    visit_again(phone, cable)
    cable.pull()
    phone.get(f"{cable.url}/record/deliver/")
    phone.find_element(By.CSS_SELECTOR, f"[name=due] option[value^='{order.pk}:']").click()
    next_step(phone)

    assert "The Anchor" in main_of(phone)
    assert phone.find_element(By.NAME, f"give_{lot.pk}").get_property("value") == "8"
    type_in(phone, f"give_{lot.pk}", "6")
    until(phone, A_PAST_ROUND)
    entry = sent_from_page(phone, cable, "sell")

    assert fresh(lot).quantity == 6
    assert DeliveryNote.objects.get().sale.entry == entry
    until(phone, "!(await Waiting.keptFor(new URL('/record/deliver/', location)))")


def test_a_customer_is_sold_to_and_hands_something_back_in_a_valley(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    world.now = yesterday_morning()
    lot = packs(world, 12)
    line = sold(world, lot, 5).entry.lines.get().sale_line
    visit_again(phone, cable)
    cable.pull()
    phone.get(f"{cable.url}/record/take-back/?sale_line={line.pk}")
    assert "The Anchor" in phone.find_element(By.CSS_SELECTOR, "[data-said=sale_line]").text
    type_in(phone, "quantity", "2")
    next_step(phone)
    arrives(phone, "/not-sent/")
    until(phone, "document.getElementById('waiting').textContent.includes('The Anchor')")

    phone.get(f"{cable.url}/record/sell/?place={world.kitchens.pk}")
    phone.find_element(By.CSS_SELECTOR, "[name=customer] option:nth-child(2)").click()
    type_in(phone, f"sold_{lot.pk}", "1")
    entry = sent_from_page(phone, cable, "sell")

    assert entry.sale.customer == world.customer
    assert fresh(lot).quantity == 12 - 5 + 2 - 1


def test_filling_says_what_was_short_at_the_last_visit(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    world.received("rye", 3 * KG)
    world.received("grain bag", 4)
    visit_again(phone, cable)
    cable.pull()
    phone.get(f"{cable.url}/record/prepare-grain/")
    type_in(phone, "count", "4")
    next_step(phone)

    # 4 times 885 g are 3.54 kg, of which 3 are there.
    assert sorted(drawn(phone)) == ["3.00 kg", "4"]
    assert phone.find_element(By.ID, "short").text == "Not enough at the last visit: rye."

    phone.get(f"{cable.url}/record/prepare-grain/?recipe={world.grain_recipe.pk}&count=2")
    assert not phone.find_element(By.ID, "short").is_displayed()
    entry = sent_from_page(phone, cable, "prepare grain")
    assert Lot.objects.get(made_by=entry).quantity == 2


def test_a_lot_that_came_after_the_last_visit_is_thrown_away_by_its_code(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    _, _, spawn = grow_spawn(world)
    cable.pull()
    phone.get(f"{cable.url}/record/throw-away/")
    type_in(phone, "lot_code", spawn.code)
    next_step(phone)

    assert phone.find_element(By.CSS_SELECTOR, "[data-said=lot]").text == spawn.code
    type_in(phone, "quantity", "1.5 kg")
    phone.find_element(By.CSS_SELECTOR, "[name=cause] option:nth-child(2)").click()
    sent_from_page(phone, cable, "throw away")

    assert fresh(spawn).quantity == spawn.quantity - 1_500 * GRAM


def test_a_first_step_that_names_no_lot_is_answered_anew_under_to_sort_out(
    phone: WebDriver, cable: Cable, blocks: Lot
) -> None:
    cable.pull()
    phone.get(f"{cable.url}/record/throw-away/?lot=ZZZZZ")
    type_in(phone, "quantity", "2")
    phone.find_element(By.CSS_SELECTOR, "[name=cause] option:nth-child(2)").click()
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    cable.plug_in()
    send_now(phone)
    all_sent(phone)

    phone.get(f"{cable.url}/unfinished/")
    press(phone, "main .actions a.main")
    type_in(phone, "lot_code", blocks.code)
    next_step(phone)
    press(phone, "main form button.main")
    arrives(phone, "/entries/")

    assert fresh(blocks).quantity == 2
    phone.get(f"{cable.url}/unfinished/")
    assert "Nothing to sort out" in main_of(phone)


def test_a_sum_of_bowls_with_the_flush_left_blank_waits_and_is_entered(
    phone: WebDriver, cable: Cable, blocks: Lot
) -> None:
    cable.pull()
    phone.get(f"{cable.url}/record/pick/")
    type_in(phone, "flush", "")
    box = phone.find_element(By.NAME, "blocks")
    if not box.is_selected():
        box.click()
    type_in(phone, "firsts_mg", "0.7+0.5")
    said = phone.find_element(By.CSS_SELECTOR, "[name='firsts_mg'] ~ output").text
    assert said.startswith("1.200 kg · 1200.0 g")
    entry = sent_from_page(phone, cable, "pick")

    lot = Lot.objects.get(made_by=entry)
    assert (lot.quantity, lot.card.flush) == (1_200 * GRAM, 1)


def test_a_sale_to_nobody_where_customers_have_names_is_asked_about_with_the_signal(
    phone: WebDriver, cable: Cable, world: World
) -> None:
    world.now = yesterday_morning()
    lot = packs(world, 12)
    visit_again(phone, cable)
    cable.pull()
    phone.get(f"{cable.url}/record/sell/?place={world.kitchens.pk}")
    type_in(phone, f"sold_{lot.pk}", "3")
    press(phone, "main form button.main")
    arrives(phone, "/not-sent/")
    cable.plug_in()
    send_now(phone)
    all_sent(phone)
    assert fresh(lot).quantity == 12

    phone.get(f"{cable.url}/unfinished/")
    press(phone, "main .actions a.main")
    arrives(phone, "/record/sell/")
    assert "Choose the customer" in main_of(phone)
    box = phone.find_element(By.NAME, f"sold_{lot.pk}")
    assert box.get_property("value") == "3"
    phone.find_element(By.CSS_SELECTOR, "[name=customer] option:nth-child(2)").click()
    press(phone, "main form button.main")
    arrives(phone, "/entries/")
    assert fresh(lot).quantity == 9
    assert Entry.objects.get(kind="sell").sale.customer == world.customer
