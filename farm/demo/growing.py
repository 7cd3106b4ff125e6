"""The growing side of the played week: deliveries, grain, blocks, picks."""

from functools import partial

from farm.actions.common import Doing, Draw, drawn, oldest_first, on_hand
from farm.actions.growing.blocks import fill_blocks, inoculate_blocks, move_to_fruiting
from farm.actions.growing.checks import check
from farm.actions.growing.cultures import buy_culture, transfer_culture
from farm.actions.growing.grain import inoculate_grain, prepare_grain
from farm.actions.growing.harvesting import mark_spent, pick
from farm.actions.growing.runs import sterilise
from farm.actions.growing.supplies import Delivery, receive_supplies
from farm.actions.recording.correcting import undo
from farm.actions.records.photos import add_photo
from farm.actions.tracing.holding import hold, release
from farm.demo.clock import Year
from farm.demo.drawn import block_with
from farm.demo.scenery import COIN, GRAM, KG
from farm.models import RecipeVersion, Stage, Strain
from ledger.models import Lot

# Blocks started: strain, recipe, count, every so many weeks.
STARTS = (("oyster", "lean", 22, 1), ("mane", "rich", 22, 2), ("shiitake", "rich", 16, 2))
SPAWN_PER_BLOCK_MG = 190 * GRAM
# A second line of oyster is tried once, and picked into the same crates as the house's.
TRIAL_WEEK, TRIAL_BLOCKS = 4, 6
# More lost than that is photographed.
MANY_LOST = 2


def monday(year: Year, week: int) -> None:
    if week % 8 == 0:
        _deliveries(year)
    if week % 26 == 0:
        for strain in year.scenery.strains.values():
            _cultures(year, strain)
    if week % 2 == 0:
        _grain(year, week)
    for key, recipe, count, every in STARTS:
        if week % every == 0 and week >= 2:
            strain, version = year.scenery.strains[key], year.scenery.blocks[recipe]
            lots = [_blocks(year, strain, recipe=version, count=count)]
            if week == TRIAL_WEEK and key == "oyster":
                lots.append(_trial(year, recipe=version))
            _to_pick(year, strain, lots)


def _deliveries(year: Year) -> None:
    rows = (
        ("Alder sawdust pellets", 290 * KG, 145, "Harrow Sawmill"),
        ("Wheat bran", 46 * KG, 33, "Brook Mill"),
        ("Gypsum", 6 * KG, 7, "Brook Mill"),
        ("Rye grain", 46 * KG, 37, "Brook Mill"),
        ("Filter-patch bags", 395, 104, "Lantern Packaging"),
        ("Card punnets", 760, 84, "Lantern Packaging"),
        ("Dry pouches", 60, 15, "Lantern Packaging"),
    )
    for name, quantity, paid, supplier in rows:
        receive_supplies(
            year.doing("tam"),
            supply=year.scenery.supplies[name],
            quantity=quantity,
            paid_money=year.about(paid * COIN, 0.04) // 100 * 100,
            delivery=Delivery(
                supplier=year.scenery.suppliers[supplier],
                supplier_lot=f"{supplier[0]}{year.clock:%y%m%d}",
            ),
            shelf=year.scenery.shelves["store"],
        )


def _cultures(year: Year, strain: Strain) -> None:
    """Buy a dish, and take the working dishes of the half year from it."""
    bought = buy_culture(
        year.doing(),
        strain=strain,
        portions=4,
        paid_money=28 * COIN,
        delivery=Delivery(supplier=year.scenery.suppliers["Kestrel Cultures"]),
    )
    transfer_culture(year.doing(), source=bought.lots[0], used=2, portions=90)


def _trial(year: Year, *, recipe: RecipeVersion) -> Lot:
    """Try another line from its dish on: some blocks beside those of the house."""
    strain, grain = year.scenery.trial, year.scenery.grain
    bought = buy_culture(
        year.aside("trial dish"),
        strain=strain,
        portions=2,
        paid_money=14 * COIN,
        delivery=Delivery(supplier=year.scenery.suppliers["Kestrel Cultures"]),
    )
    made = prepare_grain(
        year.aside("trial grain"), recipe=grain, bags=1, draws=_ingredients(grain, 1)
    )
    _run(year, [made.lots[-1]], 95)
    inoculate_grain(
        year.aside("trial spawn"),
        grain=_fresh(made.lots[-1]),
        bags=1,
        source=bought.lots[0],
        amount=1,
    )
    return _blocks(year, strain, recipe=recipe, count=TRIAL_BLOCKS)


def _grain(year: Year, week: int) -> None:
    """Prepare grain and, once it was in the steriliser, inoculate it for each strain."""
    bags = {"oyster": 5, "mane": 3, "shiitake": 2}
    recipe = year.scenery.grain
    total = sum(bags.values())
    made = prepare_grain(
        year.doing("tam"), recipe=recipe, bags=total, draws=_ingredients(recipe, total)
    ).lots[-1]
    _run(year, [made], 95)
    for key, count in bags.items():
        strain = year.scenery.strains[key]
        spawn = on_hand(Stage.SPAWN, strain=strain, generation=1).last()
        grain_to_grain = week % 4 == 2 and spawn is not None and spawn.quantity > 2 * KG
        source = spawn if grain_to_grain else on_hand(Stage.CULTURE, strain=strain).last()
        assert source is not None
        amount = 150 * GRAM * count if grain_to_grain else count
        spawned = inoculate_grain(
            year.doing(), grain=made, bags=count, source=source, amount=amount
        )
        year.after(7, partial(_shake, year, spawned.lots[-1]))


def _shake(year: Year, lot: Lot) -> None:
    lost = 1 if year.dice.random() < 0.12 else 0
    reason = "wet spot / sour" if lost else ""
    doing = year.doing("nora", reason, sure=True)
    check(doing, lot=_fresh(lot), colonised_percent=40, lost=lost)


def _blocks(year: Year, strain: Strain, *, recipe: RecipeVersion, count: int) -> Lot:
    filled = fill_blocks(
        year.doing("tam"), recipe=recipe, count=count, draws=_ingredients(recipe, count)
    ).lots[-1]
    _run(year, [filled], 150)
    blocks = inoculate_blocks(
        year.doing(),
        bags=_fresh(filled),
        count=count,
        spawn=_spawn(strain, count * SPAWN_PER_BLOCK_MG),
        shelf=year.scenery.shelves["incubation"],
    ).lots[-1]
    year.after(9, lambda: _look(year, blocks))
    year.after(strain.spawn_run_days, lambda: _move(year, blocks))
    return blocks


def _to_pick(year: Year, strain: Strain, lots: list[Lot]) -> None:
    """Pick lots together, twice, before they are spent."""
    first, second = strain.first_pick_days, strain.first_pick_days + strain.flush_gap_days
    year.after(first, lambda: _pick(year, lots, strain=strain, flush=1))
    year.after(second, lambda: _pick(year, lots, strain=strain, flush=2))
    for lot in lots:
        year.after(second + 3, partial(_spent, year, lot))


def _run(year: Year, lots: list[Lot], minutes: int) -> None:
    sterilise(
        year.doing("tam"),
        steriliser=year.scenery.steriliser,
        lots=[_fresh(lot) for lot in lots],
        minutes_at_temperature=minutes,
        gauge_pa=104_000,
        temperature_milli_c=121_000,
    )


def _look(year: Year, lot: Lot) -> None:
    share = 0.05 if year.dice.random() < 0.85 else 0.22
    lost = sum(year.dice.random() < share for _ in range(_fresh(lot).quantity))
    reason = year.dice.choice(["green mould", "green mould", "burst bag", "other mould"])
    doing = year.doing("nora", reason if lost else "", sure=True)
    looked = check(doing, lot=_fresh(lot), colonised_percent=year.dice.randint(60, 90), lost=lost)
    if lost > MANY_LOST:
        add_photo(doing.by, looked.entry, block_with(reason))


def _move(year: Year, lot: Lot) -> None:
    if _fresh(lot).quantity:
        shelf = year.scenery.shelves["fruiting"]
        move_to_fruiting(year.doing("tam"), lot=_fresh(lot), shelf=shelf)


def _pick(year: Year, lots: list[Lot], *, strain: Strain, flush: int) -> None:
    """Pick a flush; the first of lion's mane ripens over two days, a third of it on the second."""
    blocks = sum(_fresh(lot).quantity for lot in lots)
    if not blocks:
        return
    weight = year.about(strain.flushes_mg[flush - 1] * blocks) // (10 * GRAM) * 10 * GRAM
    doing = year.doing("tam" if year.dice.random() < 0.5 else "nora")
    crates = partial(_crates, year, lots, flush=flush)
    if flush == 1 and strain == year.scenery.strains["mane"]:
        later = weight // (30 * GRAM) * 10 * GRAM
        weight -= later
        year.after(1, lambda: crates(year.aside("second day"), weight=later))
    crates(doing, weight=weight)


def _crates(year: Year, lots: list[Lot], doing: Doing, *, flush: int, weight: int) -> None:
    seconds = weight // 12
    there = [lot for lot in map(_fresh, lots) if lot.quantity]
    clusters = flush == 1 and there[0].card.strain == year.scenery.strains["oyster"]
    trim = weight // 12 if clusters else 0  # their butts
    pick(
        doing,
        # Weighed together; several lots share the weight by their blocks.
        given=[Draw(lot, weight if len(there) == 1 else 0) for lot in there],
        flush=flush,
        firsts_mg=weight - seconds - trim,
        seconds_mg=seconds,
        trim_mg=trim,
        shelf=year.scenery.shelves["fridge"],
    )


def _spent(year: Year, lot: Lot) -> None:
    if _fresh(lot).quantity:
        mark_spent(year.doing("tam"), lot=_fresh(lot))


# --- once in the year ------------------------------------------------------------------------


def scare(year: Year) -> None:
    """A delivery of bran smells wrong: it is put on hold, asked about, and released."""
    bran = year.scenery.supplies["Wheat bran"].item
    lot = Lot.objects.filter(item=bran, quantity__gt=0).first()
    if lot:
        hold(year.doing("nora", "smells musty; the mill was asked"), [lot])
        release(year.doing("nora", "the mill sent its test; only dusty"), [_fresh(lot)])


def slip(year: Year) -> None:
    """A delivery typed twice is taken back."""
    twice = receive_supplies(
        year.doing("tam"),
        supply=year.scenery.supplies["Gypsum"],
        quantity=8 * KG,
        paid_money=9 * COIN,
        delivery=Delivery(supplier=year.scenery.suppliers["Brook Mill"]),
    )
    undo(year.doing("nora", "typed twice"), twice.entry)


def _ingredients(recipe: RecipeVersion, count: int) -> list[Draw]:
    return [
        draw
        for line in recipe.lines.select_related("supply__item")
        for draw in oldest_first(line.supply, line.quantity * count)
    ]


def _spawn(strain: Strain, wanted_mg: int) -> list[Draw]:
    """Take spawn from the oldest lots of a strain."""
    return drawn(on_hand(Stage.SPAWN, strain=strain), wanted_mg)[0]


def _fresh(lot: Lot) -> Lot:
    return Lot.objects.select_related("item").get(pk=lot.pk)
