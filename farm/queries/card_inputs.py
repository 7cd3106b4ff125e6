"""What the farm knows for a cost card: each number with its source, the best first.

The farm's own records, once a strain has 20 finished blocks; else its look-ups; else what growers
usually find ("common practice, no source").
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db.models import Count, Max, Sum

from farm.beliefs import STANDARD_TIMES, Time
from farm.models import (
    Form,
    LotCard,
    PlaceKind,
    Price,
    Product,
    Rate,
    RateOf,
    RecipeFor,
    RecipeLine,
    RecipeVersion,
    SellingPlace,
    Stage,
    StandardTime,
    Steriliser,
    Strain,
    Use,
)
from farm.planning.card import MILLION, Ingredient
from farm.planning.inputs import Known, Names
from farm.queries.experience import Experience, Share, experience_of, usual_day_mg
from farm.queries.recipes import newest_versions
from ledger.models import KINDS, Dimension, Flow, Item, Line, Lot, Role

PRACTICE = "common practice, no source"
UNKNOWN_PRICE = -1
USUAL_BATCH = 24
FRIDGE_DAYS = 2
GROWING = ("fill blocks", "inoculate blocks", "check", "move to fruiting")


@dataclass(frozen=True)
class Choice:
    """What a card is of. Spawn: of a lot, or of a grain recipe, or else the strain's newest."""

    recipe: RecipeVersion
    strain: Strain
    product: Product
    place: SellingPlace
    steriliser: Steriliser | None = None
    spawn: Lot | None = None
    spawn_recipe: RecipeVersion | None = None

    @property
    def names(self) -> Names:
        return Names(str(self.recipe), str(self.strain), self.product.name, self.place.name)


@dataclass(frozen=True)
class CardInputs:
    """``values``: by the keys of the card's inputs. ``records``: by lot, for the range."""

    values: dict[str, Known]
    ingredients: tuple[Ingredient, ...]
    price_sources: tuple[str, ...]
    records: dict[str, tuple[float, ...]]
    asked_money: int | None


def usual_choice() -> Choice | None:
    """What was last grown, sold at the stall of most days; None while something is missing."""
    blocks = LotCard.objects.filter(stage=Stage.BLOCKS).exclude(strain=None).exclude(recipe=None)
    last = blocks.select_related("strain__species", "recipe__recipe").order_by("-lot_id").first()
    strains = Strain.objects.select_related("species")
    sold = strains.filter(species__products__form=Form.FRESH)
    strain = last.strain if last else sold.first() or strains.first()
    recipe = last.recipe if last else newest_versions(RecipeFor.BLOCKS).first()
    products = Product.objects.filter(form=Form.FRESH)
    product = products.filter(species=strain.species).first() if strain else None
    product = product or products.first()
    by_days = SellingPlace.objects.annotate(days=Count("stall_days")).order_by("-days", "pk")
    places = sorted(by_days, key=lambda place: place.kind != PlaceKind.STALL)
    if recipe is None or strain is None or product is None or not places:
        return None
    return Choice(recipe, strain, product, places[0], steriliser=Steriliser.objects.first())


def card_inputs(choice: Choice, day: date) -> CardInputs:
    """Look up every number of a card on a day."""
    experience = experience_of(choice.strain)
    ingredients, sources = _ingredients(choice.recipe, day)
    values = {
        **_batch(choice),
        **_spawn(choice, day),
        **_crop(choice, experience),
        **_times(choice),
        **_pack(choice.product, day),
        **place_values(choice.place),
        **_rates(day),
        "tax_ppm": Known(choice.product.tax_ppm, "farm details: the product's tax"),
        "net_mg": Known(choice.product.net_mg, "farm details: the product's net weight"),
        "margin_ppm": Known(200_000, "a start: choose your own"),
    }
    by_lot = {
        "yield": experience.yields_kg,
        "loss": experience.loss.by_lot,
        "fridge": experience.fridge.by_lot,
        "unsold": experience.unsold.by_lot,
    }
    records = by_lot if experience.is_enough else {}
    asked = asked_at(choice.place, choice.product, day)
    return CardInputs(values, ingredients, sources, records, asked)


def fitting_product(choice: Choice) -> Product | None:
    """A fresh pack of the strain's species, where the chosen pack is of another species."""
    species = choice.strain.species
    if choice.product.species_id == species.pk:
        return None
    return Product.objects.filter(species=species, form=Form.FRESH).first()


def asked_at(place: SellingPlace, product: Product, day: date) -> int | None:
    """What a customer pays for a pack there on a day, tax in it, rounded half to even."""
    rows = Price.objects.filter(place=place, product=product, from_day__lte=day)
    row = rows.order_by("-from_day").first()
    if row is None:
        return None
    tax_ppm = 0 if row.tax_included else product.tax_ppm
    return round(row.pack_money * Fraction(MILLION + tax_ppm, MILLION))


def place_values(place: SellingPlace) -> dict[str, Known]:
    """What a day at a selling place costs, and how much is sold there on one."""
    day_mg, days = usual_day_mg(place)
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


def _batch(choice: Choice) -> dict[str, Known]:
    lots = LotCard.objects.filter(stage=Stage.BLOCKS, recipe=choice.recipe)
    last = lots.order_by("-lot_id").values_list("lot_id", flat=True).first()
    made = Line.objects.filter(lot=last, role=Role.MADE, quantity__gt=0).first()
    blocks = Known(made.quantity, "own: the last batch") if made else Known(USUAL_BATCH, "a start")
    vessel = choice.steriliser
    strain = choice.strain
    flushes = sum(1 for mg in strain.flushes_mg if mg)
    shelf_days = strain.first_pick_days + strain.flush_gap_days * max(flushes - 1, 0)
    return {
        "blocks": blocks,
        "load_blocks": Known(blocks.value, "as many as in the batch"),
        "run_wh": Known(
            vessel.run_wh if vessel else 0, f"farm details: {vessel or 'no steriliser'}"
        ),
        "shelf_days": Known(shelf_days, "farm details: the strain's days"),
    }


def _spawn(choice: Choice, day: date) -> dict[str, Known]:
    """Weight and price of spawn: as the lot was made, as its recipe would be, as last bought."""
    found = {"spawn_mg": _spawn_mg(choice.recipe)}
    lot = choice.spawn or _newest_spawn(choice.strain)
    recipe = choice.spawn_recipe
    price: Known | None
    if recipe and not choice.spawn:
        price = _recipe_price(recipe, day)
    else:
        price = lot_price(lot) if lot else _bought_price()
    return {**found, "spawn_kg_money": price} if price else found


def lot_price(lot: Lot) -> Known:
    made = Flow.objects.filter(lot=lot, role=Role.MADE)
    sums = made.aggregate(*(Sum(name) for name in ("quantity", *KINDS)))
    cost = sum(sums[f"{kind}__sum"] for kind in KINDS)
    return Known(round(cost * MILLION / sums["quantity__sum"]), f"own: what lot {lot.code} cost")


def _recipe_price(recipe: RecipeVersion, day: date) -> Known | None:
    """Ingredients and own hours of a bag over its fill; unknown while one was never bought.

    Steam and culture are left out, which the source says: they depend on the run and the culture.
    """
    parts, _ = _ingredients(recipe, day)
    rate = _rates(day).get("own_hour_money")
    if rate is None or any(part.price_money == UNKNOWN_PRICE for part in parts):
        return None
    times = _standard_seconds()
    seconds = sum(times[name][1] for name in ("prepare grain", "inoculate grain"))
    cost = sum(part.cost for part in parts) + Fraction(seconds * rate.value, 3_600)
    source = f"{recipe}: ingredients and own hours, without steam and culture"
    return Known(round(cost * MILLION / recipe.fill_mg), source)


def _bought_price() -> Known | None:
    bought = Line.objects.filter(role=Role.BOUGHT, lot__item__supply__use=Use.SPAWN)
    weighed = bought.filter(quantity__gt=0, lot__item__dimension=Dimension.MASS)
    line = weighed.order_by("entry_id").last()
    if line is None:
        return None
    return Known(round(line.money * MILLION / line.quantity), "own: the last bought spawn")


def _spawn_mg(recipe: RecipeVersion) -> Known:
    """A block weighs its fill and its spawn: the last batch of the recipe says how much."""
    lots = Lot.objects.filter(card__stage=Stage.BLOCKS, card__recipe=recipe)
    last = lots.order_by("-pk").first()
    spawn_mg = (last.unit_mass_mg or 0) - recipe.fill_mg if last else 0
    if spawn_mg > 0:
        return Known(spawn_mg, "own: the last batch")
    return Known(recipe.fill_mg // 10, f"a tenth of the filled bag: {PRACTICE}")


def _newest_spawn(strain: Strain) -> Lot | None:
    """The newest that is on hand, or else the newest of all."""
    lots = Lot.objects.filter(card__stage=Stage.SPAWN, card__strain=strain).order_by("-pk")
    return lots.filter(quantity__gt=0).first() or lots.first()


def _ingredients(
    recipe: RecipeVersion, day: date
) -> tuple[tuple[Ingredient, ...], tuple[str, ...]]:
    lines: list[RecipeLine] = list(recipe.lines.select_related("supply__item"))
    prices = last_prices((line.supply.item for line in lines), day)
    found = [(line, *prices[line.supply.item_id]) for line in lines]
    parts = tuple(
        Ingredient(
            line.supply.item.name, line.quantity, price, line.supply.item.dimension == "mass"
        )
        for line, price, _ in found
    )
    return parts, tuple(source for _, _, source in found)


def last_price(item: Item, day: date) -> tuple[int, str]:
    """What a kilo or piece last cost, rounded half to even, and when; below zero: never bought."""
    return last_prices([item], day)[item.pk]


def last_prices(items: Iterable[Item], day: date) -> dict[int, tuple[int, str]]:
    """The last price of each item by its key; one query."""
    asked = {item.pk: item for item in items}
    lines = Line.objects.filter(
        lot__item__in=asked, role=Role.BOUGHT, entry__happened_on__lte=day, quantity__gt=0
    )
    newest = lines.order_by().values("lot__item").annotate(last=Max("pk")).values("last")
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


def _times(choice: Choice) -> dict[str, Known]:
    """Seconds a block, a kilo and a pack, from the standard times of each action."""
    times = _standard_seconds()
    blocks = _batch(choice)["blocks"].value
    each = sum(times[name][1] for name in GROWING)
    once = sum(times[name][0] for name in (*GROWING, "steriliser run"))
    source = f"farm details: standard times, {blocks} blocks at a time"
    return {
        "block_seconds": Known(round(each + once / blocks), source),
        "pick_seconds": Known(times["pick"][1], "farm details: standard times"),
        "pack_seconds": Known(times["pack"][1], "farm details: standard times"),
    }


def _standard_seconds() -> dict[str, tuple[int, int]]:
    """Seconds each time and a unit of every action: the farm's, else the starting beliefs."""
    rows: list[Time | StandardTime] = [*STANDARD_TIMES, *StandardTime.objects.all()]
    return {row.action: (row.minutes * 60, row.unit_seconds) for row in rows}


# --- packing, rates --------------------------------------------------------------------------


def _pack(product: Product, day: date) -> dict[str, Known]:
    if product.packaging is None:
        return {"pack_money": Known(0, "no packaging named for the product")}
    price, source = last_price(product.packaging.item, day)
    return {"pack_money": Known(price, source)} if price != UNKNOWN_PRICE else {}


def _rates(day: date) -> dict[str, Known]:
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
