"""What the farm knows for a cost card: each number with its source, the best first.

The farm's own records, once a strain has 20 finished blocks; else its look-ups; else what growers
usually find ("common practice, no source").
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from django.db.models import Case, Max, Q, QuerySet, Sum, When

from farm import habits
from farm.beliefs import PRACTICE, TRIM_PPM
from farm.kinds import TIMED
from farm.kinds.growing import (
    CHECK,
    FILL_BLOCKS,
    INOCULATE_BLOCKS,
    INOCULATE_GRAIN,
    MOVE_TO_FRUITING,
    PICK,
    PREPARE_GRAIN,
    STERILISER_RUN,
)
from farm.kinds.kind import Usual
from farm.kinds.store import PACK
from farm.models import (
    LotCard,
    Product,
    Rate,
    RateOf,
    RecipeLine,
    RecipeVersion,
    SellingPlace,
    Stage,
    StandardTime,
    Strain,
    Use,
)
from farm.planning.card import MILLION, Ingredient
from farm.planning.grown import Records
from farm.planning.inputs import Known
from farm.queries.costs.card_choice import Batches, Choice
from farm.queries.costs.card_selling import PlaceInputs, beside_inputs, selling_inputs
from farm.queries.growing.experience import Experience, Share
from ledger.models import KINDS, Dimension, Flow, Item, Line, Lot, Role

UNKNOWN_PRICE = -1
NEVER_BOUGHT = (UNKNOWN_PRICE, "never bought")
USUAL_BATCH = 24
FRIDGE_DAYS = 2
CAME_IN = (Role.MADE, Role.BOUGHT)
Seconds = Mapping[str, tuple[int, int]]
GROWING = (FILL_BLOCKS, INOCULATE_BLOCKS, CHECK, MOVE_TO_FRUITING)


@dataclass(frozen=True)
class CardInputs:
    """``values``: by the keys of the card's inputs. ``records``: what the range is drawn from.

    ``elsewhere``: the other selling places.
    """

    values: dict[str, Known]
    ingredients: tuple[Ingredient, ...]
    price_sources: tuple[str, ...]
    records: Records
    asked_money: int | None
    elsewhere: tuple[PlaceInputs, ...] = ()


def card_inputs(
    choice: Choice,
    day: date,
    *,
    own: Experience,
    batches: Batches,
    places: Iterable[SellingPlace],
) -> CardInputs:
    """Look up every number of a card on a day; seven queries. ``places``: to sell at."""
    found = growing_inputs(choice, day, own=own, batches=batches)
    known = selling_inputs(choice.product, day, places)
    here = next(one for one in known if one.place == choice.place)
    values = {
        **found.values,
        **here.values,
        **beside_inputs(choice.product, here),
        "margin_ppm": Known(200_000, "a start: choose your own"),
    }
    elsewhere = tuple(one for one in known if one is not here)
    return replace(found, values=values, asked_money=here.asked_money, elsewhere=elsewhere)


def growing_inputs(choice: Choice, day: date, *, own: Experience, batches: Batches) -> CardInputs:
    """Look up the numbers of growing, picking and packing; five queries.

    ``own``: of the strain that is chosen.
    """
    every = lines_of(choice.recipe, choice.spawn_recipe)
    lines = every[choice.recipe.pk]
    packaging = choice.product.packaging
    items = [line.supply.item for each in every.values() for line in each]
    prices = last_prices([*items, packaging.item] if packaging else items, day)
    parts, sources = priced_parts(lines, prices)
    last = batches.last(choice.recipe)
    blocks = batches.made[last.pk] if last else None
    batch = _batch(choice, blocks)
    times, rates = standard_seconds(), rates_on(day)
    values = {
        **batch,
        "spawn_mg": _spawn_mg(fill_mg(choice.recipe.water_mg, lines), last),
        **_crop(choice, own),
        **growing_times(times, batch["blocks"].value),
        **_pack(choice.product, prices),
        **rates,
        "tax_ppm": Known(choice.product.tax_ppm, "farm details: the product's tax"),
        "net_mg": Known(choice.product.net_mg, "farm details: the product's net weight"),
    }
    if (recipe := choice.spawn_recipe) and not choice.spawn:
        spawn = _recipe_price(recipe, every[recipe.pk], prices, times=times, rates=rates)
    else:
        spawn = _spawn_price(choice)
    if spawn:
        values["spawn_kg_money"] = spawn
    return CardInputs(values, parts, sources, _records(choice.strain, own), None)


def _records(strain: Strain, own: Experience) -> Records:
    """What the range is drawn from: the strain's planning figures, and own records if enough."""
    believed = Records(believed_kg=sum(strain.flushes_mg) / MILLION)
    if not own.is_enough:
        return believed
    fridge, unsold = own.fridge.by_lot, own.unsold.by_lot
    return replace(believed, batches=own.batches, fridge=fridge, unsold=unsold)


# --- the batch -------------------------------------------------------------------------------


def _batch(choice: Choice, made: int | None) -> dict[str, Known]:
    blocks = Known(made, "own: the last batch") if made else Known(USUAL_BATCH, "a start")
    vessel = choice.steriliser
    return {
        "blocks": blocks,
        "load_blocks": Known(blocks.value, "as many as in the batch"),
        "run_wh": Known(
            vessel.run_wh if vessel else 0, f"farm details: {vessel or 'no steriliser'}"
        ),
        "shelf_days": Known(shelf_days(choice.strain), "farm details: the strain's days"),
    }


def shelf_days(strain: Strain) -> int:
    """How many days a block of a strain stands, until its last flush is picked."""
    flushes = sum(1 for mg in strain.flushes_mg if mg)
    return strain.first_pick_days + strain.flush_gap_days * max(flushes - 1, 0)


def _spawn_price(choice: Choice) -> Known | None:
    """Price spawn as the lot was made, or else as the strain's newest; one query."""
    if choice.spawn:
        return lot_price(Lot.objects.filter(pk=choice.spawn.pk))
    return newest_spawn_price(choice.strain)


def newest_spawn_price(strain: Strain) -> Known | None:
    """Price the newest spawn that is on hand, or else the newest of all, or what was bought.

    One query.
    """
    own = Q(card__stage=Stage.SPAWN, card__strain=strain)
    bought = Q(item__supply__use=Use.SPAWN, item__dimension=Dimension.MASS)
    rank = Case(When(bought, then=2), When(quantity__gt=0, then=0), default=1)
    came_in = Lot.objects.filter(own | bought, flows__role__in=CAME_IN, flows__quantity__gt=0)
    return lot_price(came_in.order_by(rank, "-pk"))


def lot_price(lots: QuerySet[Lot]) -> Known | None:
    """What a kilo of the first of some lots cost when it was made or bought; one query.

    Nothing, where that was undone.
    """
    return next(iter(lot_prices(lots[:1]).values()), None)


def lot_prices(lots: QuerySet[Lot]) -> dict[int, Known]:
    """What a kilo of each lot cost when it was made or bought; none that was undone. One query."""
    came_in = Flow.objects.filter(lot__in=lots.values("pk"), role__in=CAME_IN, quantity__gt=0)
    rows = came_in.values_list("lot", "lot__code")
    sums = rows.annotate(*(Sum(name) for name in ("quantity", *KINDS))).order_by()
    return {
        lot: Known(round(sum(cost) * MILLION / quantity), f"own: what lot {code} cost")
        for lot, code, quantity, *cost in sums
    }


def _recipe_price(
    recipe: RecipeVersion,
    lines: Sequence[RecipeLine],
    prices: Mapping[int, tuple[int, str]],
    *,
    times: Seconds,
    rates: Mapping[str, Known],
) -> Known | None:
    """Ingredients and own hours of a bag over its fill; unknown while one was never bought.

    Steam and culture are left out, which the source says: they depend on the run and the culture.
    """
    parts, _ = priced_parts(lines, prices)
    rate = rates.get("own_hour_money")
    if rate is None or any(part.price_money == UNKNOWN_PRICE for part in parts):
        return None
    seconds = sum(times[name][1] for name in (PREPARE_GRAIN, INOCULATE_GRAIN))
    cost = sum(part.cost for part in parts) + Fraction(seconds * rate.value, 3_600)
    source = f"{recipe}: ingredients and own hours, without steam and culture"
    return Known(round(cost * MILLION / fill_mg(recipe.water_mg, lines)), source)


def _spawn_mg(filled_mg: int, last: LotCard | None) -> Known:
    """A block weighs its fill and its spawn: the last batch of the recipe says how much."""
    spawn_mg = (last.lot.unit_mass_mg or 0) - filled_mg if last else 0
    if spawn_mg > 0:
        return Known(spawn_mg, "own: the last batch")
    return Known(filled_mg // 10, f"a tenth of the filled bag: {PRACTICE}")


def fill_mg(water_mg: int, lines: Iterable[RecipeLine]) -> int:
    """What a filled bag weighs: what is weighed of its lines, and water."""
    weighed = [line for line in lines if line.supply.item.dimension == Dimension.MASS]
    return water_mg + sum(line.quantity for line in weighed)


def lines_of(*recipes: RecipeVersion | None) -> dict[int, list[RecipeLine]]:
    """The lines of each recipe, by its key; one query."""
    found: dict[int, list[RecipeLine]] = {one.pk: [] for one in recipes if one}
    for line in RecipeLine.objects.filter(version__in=found).select_related("supply__item"):
        found[line.version_id].append(line)
    return found


def priced_parts(
    lines: Iterable[RecipeLine], prices: Mapping[int, tuple[int, str]]
) -> tuple[tuple[Ingredient, ...], tuple[str, ...]]:
    found = [(line, line.supply.item, *prices[line.supply.item_id]) for line in lines]
    parts = tuple(
        Ingredient(item.name, line.quantity, price, item.dimension == Dimension.MASS)
        for line, item, price, _ in found
    )
    return parts, tuple(source for *_, source in found)


def last_prices(items: Iterable[Item], day: date) -> dict[int, tuple[int, str]]:
    """What a kilo or piece of each item last cost by a day, and when; one query.

    Below zero: never bought.
    """
    asked = {item.pk: item for item in items}
    lines = Line.objects.filter(
        lot__item__in=asked, role=Role.BOUGHT, entry__happened_on__lte=day, quantity__gt=0
    )
    newest = lines.order_by().values("lot__item").annotate(last=Max("pk")).values("last")
    found = dict.fromkeys(asked, NEVER_BOUGHT)
    for line in Line.objects.filter(pk__in=newest).select_related("entry", "lot"):
        found[line.lot.item_id] = price_of(line, asked[line.lot.item_id])
    return found


def price_of(line: Line, item: Item) -> tuple[int, str]:
    """What a kilo or piece cost as it was bought, rounded half to even, and when."""
    per = MILLION if item.dimension == Dimension.MASS else 1
    source = f"own: bought {habits.short_day(line.entry.happened_on)}"
    return round(line.money * per / line.quantity), source


# --- what comes of it ------------------------------------------------------------------------


def _crop(choice: Choice, own: Experience) -> dict[str, Known]:
    """The farm's own figures once there are enough blocks, else the strain's and the usual ones."""
    strain = choice.strain
    planned = "farm details: the strain's planning figure"
    source = f"own: {own.blocks} blocks in {own.lots} lots"
    kept = 1 - strain.species.water_loss_ppm / MILLION
    fridge = Known(
        round(MILLION * (1 - kept**FRIDGE_DAYS)),
        f"farm details: the species, {FRIDGE_DAYS} days in the fridge",
    )
    has_crop = own.is_enough and any(own.flushes_mg)
    flushes = own.flushes_mg if has_crop else strain.flushes_mg
    weights = [Known(mg, source if has_crop else planned) for mg in flushes]
    return {
        **dict(zip(("first_mg", "second_mg", "third_mg"), weights, strict=True)),
        "loss_ppm": _best(own, own.loss, Known(strain.planned_loss_ppm, planned), what="blocks"),
        "trim_ppm": _best(own, own.trim, Known(TRIM_PPM, f"5 to 15 %: {PRACTICE}")),
        "fridge_ppm": _best(own, own.fridge, fridge),
        "unsold_ppm": _best(
            own, own.unsold, Known(100_000, f"5 to 25 %: {PRACTICE}"), what="packs"
        ),
    }


def _best(own: Experience, share: Share, believed: Known, *, what: str = "") -> Known:
    if not own.is_enough or not share.whole:
        return believed
    part, whole, unit = (
        (f"{share.part}", f"{share.whole}", what)
        if what
        else (f"{share.part / MILLION:.2f}", f"{share.whole / MILLION:.2f}", "kg")
    )
    return Known(share.ppm, f"own: {part} of {whole} {unit}")


def growing_times(times: Seconds, blocks: int) -> dict[str, Known]:
    """Seconds a block, a kilo and a pack, from the standard times of each action."""
    each = sum(times[name][1] for name in GROWING)
    once = sum(times[name][0] for name in (*GROWING, STERILISER_RUN))
    source = f"farm details: standard times, {blocks} blocks at a time"
    return {
        "block_seconds": Known(round(each + once / blocks), source),
        "pick_seconds": Known(times[PICK][1], "farm details: standard times"),
        "pack_seconds": Known(times[PACK][1], "farm details: standard times"),
    }


def standard_seconds() -> Seconds:
    """Seconds each time and a unit of every action: the farm's, else the kind's."""
    own = {row.action: row for row in StandardTime.objects.all()}
    times: dict[str, Usual | StandardTime] = {**TIMED, **own}
    return {name: (row.minutes * 60, row.unit_seconds) for name, row in times.items()}


# --- packing, rates --------------------------------------------------------------------------


def _pack(product: Product, prices: Mapping[int, tuple[int, str]]) -> dict[str, Known]:
    if product.packaging is None:
        return {"pack_money": Known(0, "no packaging named for the product")}
    price, source = prices[product.packaging.item_id]
    return {"pack_money": Known(price, source)} if price != UNKNOWN_PRICE else {}


def rates_on(day: date) -> dict[str, Known]:
    """The rates in force; one that was never stated stays unknown."""
    return rates_by(Rate.objects.filter(from_day__lte=day).order_by("from_day"), day)


def rates_by(rows: Iterable[Rate], day: date) -> dict[str, Known]:
    """The rates in force on a day; ``rows``: by the day they begin."""
    known = {
        row.of: Known(row.rate_money, f"farm details: since {habits.short_day(row.from_day)}")
        for row in rows
        if row.from_day <= day
    }
    keys = {
        RateOf.OWN_HOUR: "own_hour_money",
        RateOf.PAID_HOUR: "paid_hour_money",
        RateOf.KWH: "kwh_money",
        RateOf.BLOCK_DAY: "block_day_money",
    }
    values = {key: known[of] for of, key in keys.items() if of in known}
    return {**values, "own_ppm": Known(MILLION, "all by yourself, unless you say otherwise")}
