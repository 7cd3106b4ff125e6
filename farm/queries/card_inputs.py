"""What the farm knows for a cost card: each number with its source, the best first.

The farm's own records, once a strain has 20 finished blocks; else its look-ups; else what growers
usually find ("common practice, no source").
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from django.db.models import Case, Max, Q, QuerySet, Sum, When
from django.db.models.functions import Coalesce

from farm.beliefs import STANDARD_TIMES, Time
from farm.models import (
    LotCard,
    PlaceKind,
    Price,
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
from farm.planning.inputs import Known
from farm.queries.card_choice import Batches, Choice
from farm.queries.experience import Experience, Share, usual_days_mg
from ledger.models import KINDS, Dimension, Flow, Item, Line, Lot, Role

PRACTICE = "common practice, no source"
UNKNOWN_PRICE = -1
USUAL_BATCH = 24
FRIDGE_DAYS = 2
Seconds = Mapping[str, tuple[int, int]]
GROWING = ("fill blocks", "inoculate blocks", "check", "move to fruiting")


@dataclass(frozen=True)
class PlaceInputs:
    """What is known of selling at a place, and what a pack costs there now."""

    place: SellingPlace
    values: dict[str, Known]
    asked_money: int | None


@dataclass(frozen=True)
class CardInputs:
    """``values``: by the keys of the card's inputs. ``records``: by lot, for the range.

    ``elsewhere``: the other selling places.
    """

    values: dict[str, Known]
    ingredients: tuple[Ingredient, ...]
    price_sources: tuple[str, ...]
    records: dict[str, tuple[float, ...]]
    asked_money: int | None
    elsewhere: tuple[PlaceInputs, ...] = ()


def card_inputs(choice: Choice, day: date, *, own: Experience, batches: Batches) -> CardInputs:
    """Look up every number of a card on a day; nine queries."""
    found = growing_inputs(choice, day, own=own, batches=batches)
    places = _places(choice.product, day)
    here = next(one for one in places if one.place == choice.place)
    values = {
        **found.values,
        **here.values,
        "margin_ppm": Known(200_000, "a start: choose your own"),
    }
    elsewhere = tuple(one for one in places if one is not here)
    return replace(found, values=values, asked_money=here.asked_money, elsewhere=elsewhere)


def growing_inputs(choice: Choice, day: date, *, own: Experience, batches: Batches) -> CardInputs:
    """Look up the numbers of growing, picking and packing; six queries.

    ``own``: of the strain that is chosen.
    """
    lines = recipe_lines(choice.recipe)
    packaging = choice.product.packaging
    items = [line.supply.item for line in lines] + ([packaging.item] if packaging else [])
    prices = last_prices(items, day)
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
    if spawn := _spawn_price(choice, day, times=times, rates=rates):
        values["spawn_kg_money"] = spawn
    by_lot = {
        "yield": own.yields_kg,
        "loss": own.loss.by_lot,
        "fridge": own.fridge.by_lot,
        "unsold": own.unsold.by_lot,
    }
    return CardInputs(values, parts, sources, by_lot if own.is_enough else {}, None)


def _places(product: Product, day: date) -> list[PlaceInputs]:
    """What selling a pack comes to at every place on a day; three queries."""
    days, asked = usual_days_mg(), _asked_prices(product, day)
    return [
        PlaceInputs(place, _place_values(place, *days.get(place.pk, (0, 0))), asked.get(place.pk))
        for place in SellingPlace.objects.all()
    ]


def _asked_prices(product: Product, day: date) -> dict[int | None, int]:
    """What a customer pays for a pack by place, tax in it, rounded half to even; one query."""
    rows = Price.objects.filter(product=product, from_day__lte=day).order_by("from_day")
    # A later price goes over an earlier one.
    return {
        row.place_id: round(
            row.pack_money
            * Fraction(MILLION + (0 if row.tax_included else product.tax_ppm), MILLION)
        )
        for row in rows
    }


def _place_values(place: SellingPlace, day_mg: int, days: int) -> dict[str, Known]:
    """What a day at a selling place costs, and how much is sold there on one."""
    believed = 20_000_000 if place.kind == PlaceKind.STALL else 8_000_000
    look_up = "farm details: the selling place"
    return {
        "day_fee_money": Known(place.day_fee_money, look_up),
        "takings_ppm": Known(place.fee_ppm, look_up),
        "day_seconds": Known(place.day_minutes * 60, look_up),
        "card_ppm": Known(0, "none stated"),
        "day_mg": Known(day_mg, f"own: {days} days there")
        if day_mg
        else Known(believed, "a start, from no record: 20 kg a stall day, 8 kg a delivery"),
    }


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


def _spawn_price(
    choice: Choice, day: date, *, times: Seconds, rates: Mapping[str, Known]
) -> Known | None:
    """Price spawn as the lot was made, as its recipe would be, as last bought."""
    if choice.spawn:
        return lot_price(Lot.objects.filter(pk=choice.spawn.pk))
    if choice.spawn_recipe:
        return _recipe_price(choice.spawn_recipe, day, times=times, rates=rates)
    return newest_spawn_price(choice.strain)


def newest_spawn_price(strain: Strain) -> Known | None:
    """Price the newest spawn that is on hand, or else the newest of all, or what was bought."""
    lots = Lot.objects.filter(card__stage=Stage.SPAWN, card__strain=strain)
    is_used_up = Case(When(quantity__gt=0, then=0), default=1)
    return lot_price(lots.order_by(is_used_up, "-pk")) or _bought_price()


def lot_price(lots: QuerySet[Lot]) -> Known | None:
    """What a kilo of the first of some lots cost when it was made; one query."""
    made = Flow.objects.filter(lot__in=lots.values("pk")[:1], role=Role.MADE)
    rows = made.values_list("lot__code").annotate(*(Sum(name) for name in ("quantity", *KINDS)))
    for code, quantity, *cost in rows.order_by():
        return Known(round(sum(cost) * MILLION / quantity), f"own: what lot {code} cost")
    return None


def _recipe_price(
    recipe: RecipeVersion, day: date, *, times: Seconds, rates: Mapping[str, Known]
) -> Known | None:
    """Ingredients and own hours of a bag over its fill; unknown while one was never bought.

    Steam and culture are left out, which the source says: they depend on the run and the culture.
    """
    lines = recipe_lines(recipe)
    parts, _ = priced_parts(lines, last_prices((line.supply.item for line in lines), day))
    rate = rates.get("own_hour_money")
    if rate is None or any(part.price_money == UNKNOWN_PRICE for part in parts):
        return None
    seconds = sum(times[name][1] for name in ("prepare grain", "inoculate grain"))
    cost = sum(part.cost for part in parts) + Fraction(seconds * rate.value, 3_600)
    source = f"{recipe}: ingredients and own hours, without steam and culture"
    return Known(round(cost * MILLION / fill_mg(recipe.water_mg, lines)), source)


def _bought_price() -> Known | None:
    bought = Line.objects.filter(role=Role.BOUGHT, lot__item__supply__use=Use.SPAWN)
    weighed = bought.filter(quantity__gt=0, lot__item__dimension=Dimension.MASS)
    line = weighed.order_by("entry_id").last()
    if line is None:
        return None
    return Known(round(line.money * MILLION / line.quantity), "own: the last bought spawn")


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


def recipe_lines(recipe: RecipeVersion) -> list[RecipeLine]:
    return list(recipe.lines.select_related("supply__item"))


def priced_parts(
    lines: Iterable[RecipeLine], prices: Mapping[int, tuple[int, str]]
) -> tuple[tuple[Ingredient, ...], tuple[str, ...]]:
    found = [(line, line.supply.item, *prices[line.supply.item_id]) for line in lines]
    parts = tuple(
        Ingredient(item.name, line.quantity, price, item.dimension == Dimension.MASS)
        for line, item, price, _ in found
    )
    return parts, tuple(source for *_, source in found)


def last_prices(
    items: Iterable[Item], day: date, *, else_by: date | None = None
) -> dict[int, tuple[int, str]]:
    """What a kilo or piece of each item last cost by a day, rounded half to even, and when.

    Below zero: never bought. ``else_by``: a later day, for what was not bought before. One query.
    """
    asked = {item.pk: item for item in items}
    lines = Line.objects.filter(
        lot__item__in=asked,
        role=Role.BOUGHT,
        entry__happened_on__lte=else_by or day,
        quantity__gt=0,
    )
    last = Coalesce(Max("pk", filter=Q(entry__happened_on__lte=day)), Max("pk"))
    newest = lines.order_by().values("lot__item").annotate(last=last).values("last")
    found = dict.fromkeys(asked, (UNKNOWN_PRICE, "never bought"))
    for line in Line.objects.filter(pk__in=newest).select_related("entry", "lot"):
        per = MILLION if asked[line.lot.item_id].dimension == Dimension.MASS else 1
        source = f"own: bought {line.entry.happened_on}"
        found[line.lot.item_id] = (round(line.money * per / line.quantity), source)
    return found


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
    flushes = own.flushes_mg if own.is_enough else strain.flushes_mg
    weights = [Known(mg, source if own.is_enough else planned) for mg in flushes]
    return {
        **dict(zip(("first_mg", "second_mg", "third_mg"), weights, strict=True)),
        "loss_ppm": _best(own, own.loss, Known(strain.planned_loss_ppm, planned), what="blocks"),
        "trim_ppm": _best(own, own.trim, Known(80_000, f"5 to 15 %: {PRACTICE}")),
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
    once = sum(times[name][0] for name in (*GROWING, "steriliser run"))
    source = f"farm details: standard times, {blocks} blocks at a time"
    return {
        "block_seconds": Known(round(each + once / blocks), source),
        "pick_seconds": Known(times["pick"][1], "farm details: standard times"),
        "pack_seconds": Known(times["pack"][1], "farm details: standard times"),
    }


def standard_seconds() -> Seconds:
    """Seconds each time and a unit of every action: the farm's, else the starting beliefs."""
    rows: list[Time | StandardTime] = [*STANDARD_TIMES, *StandardTime.objects.all()]
    return {row.action: (row.minutes * 60, row.unit_seconds) for row in rows}


# --- packing, rates --------------------------------------------------------------------------


def _pack(product: Product, prices: Mapping[int, tuple[int, str]]) -> dict[str, Known]:
    if product.packaging is None:
        return {"pack_money": Known(0, "no packaging named for the product")}
    price, source = prices[product.packaging.item_id]
    return {"pack_money": Known(price, source)} if price != UNKNOWN_PRICE else {}


def rates_on(day: date) -> dict[str, Known]:
    """The rates in force; one that was never stated stays unknown."""
    rows = Rate.objects.filter(from_day__lte=day).order_by("from_day")
    known = {row.of: Known(row.rate_money, f"farm details: since {row.from_day}") for row in rows}
    keys = {
        RateOf.OWN_HOUR: "own_hour_money",
        RateOf.PAID_HOUR: "paid_hour_money",
        RateOf.KWH: "kwh_money",
        RateOf.BLOCK_DAY: "block_day_money",
    }
    values = {key: known[of] for of, key in keys.items() if of in known}
    return {**values, "own_ppm": Known(MILLION, "all by yourself, unless you say otherwise")}
