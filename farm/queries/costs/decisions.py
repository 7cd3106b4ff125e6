"""What the farm knows for a decision: each number with its source, its own records first."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction

from django.db.models import Sum

from farm.beliefs import PRACTICE
from farm.habits import to_places
from farm.kinds.store import DRY, PACK
from farm.models import (
    Form,
    LotCard,
    Price,
    Product,
    SaleLine,
    Species,
    Stage,
    Strain,
    products_on,
)
from farm.moisture import Portion, dried_mass
from farm.planning.card import MILLION, block_lines, without_own_hours
from farm.planning.inputs import GROUPS, Known, plan_from
from farm.queries.costs.card_choice import Batches, Choice, Offered, usual_choice
from farm.queries.costs.card_inputs import (
    UNKNOWN_PRICE,
    CardInputs,
    growing_inputs,
    last_prices,
    rates_on,
    standard_seconds,
)
from farm.queries.growing.experience import Experience
from farm.queries.store.dryings import DRIED_TO_PPM, dryings
from ledger.errors import Refused
from ledger.models import Charge, Dimension, Lot

RECENT = timedelta(days=90)
DRYER_WH = 1_500  # a kilo fresh, from memory: 1.1 to 1.9 kWh at 30 to 50 % of the dryer
WEEKS = 8
Dried = tuple[int, int, int, int]


def usual_strain(batches: Batches) -> Strain | None:
    """The strain that was last grown, or any."""
    if batches.newest:
        return batches.newest[0].strain
    return Strain.objects.select_related("species").first()


def flush_inputs(
    strain: Strain, day: date, *, own: Experience, batches: Batches
) -> dict[str, Known]:
    """Numbers of the second-flush question for a strain on a day; what is not known is left out.

    ``own``: what the farm's records say of the strain.
    """
    planned = "farm details: the strain's planning figure"
    source = f"own: {own.blocks} blocks in {own.lots} lots"
    has_crop = own.is_enough and any(own.flushes_mg)
    flushes = own.flushes_mg if has_crop else strain.flushes_mg
    wait, stand = strain.flush_gap_days, max(strain.first_pick_days - strain.spawn_run_days, 1)
    known = {
        "flush_mg": Known(flushes[1], source if has_crop else planned),
        "wait_days": _days(own.wait_days, Known(wait, "farm details: days between its flushes")),
        "fresh_mg": Known(flushes[0], source if has_crop else planned),
        "stand_days": _days(
            own.stand_days, Known(stand, "farm details: days from fruiting to the first pick")
        ),
    }
    if price := _nets_per_kg(strain.species, day, Form.FRESH).get(Form.FRESH):
        known["kilo_money"] = price
    choice = usual_choice(batches, Offered())
    if choice is not None:
        choice = replace(choice, strain=strain)
        known |= _of_a_card(choice, growing_inputs(choice, day, own=own, batches=batches))
    return known


def _days(own: tuple[int, int] | None, planned: Known) -> Known:
    """The farm's own days where it has them, else those of the strain."""
    if own is None:
        return planned
    days, lots = own
    return Known(days, f"own: {lots} {'lot' if lots == 1 else 'lots'}")


def drying_inputs(species: Species, day: date) -> dict[str, Known]:
    """Numbers of the drying question for a species on a day; what is not known is left out."""
    dried = _dried(species)
    known = {
        "ratio_ppm": _ratio(species, dried),
        "fresh_sold_ppm": Known(MILLION, "all of it, unless you say otherwise"),
        "dried_sold_ppm": Known(MILLION, "all of it, unless you say otherwise"),
    }
    on_hand = _on_hand(species, Form.FRESH, Stage.CROP)
    known["mass_mg"] = Known(on_hand or MILLION, "own: picked and on hand" if on_hand else "a kilo")
    rates = rates_on(day)
    if cost := _drying_cost(dried, rates):
        known["drying_money"] = cost
    if pouches := _pouches(species, day, rates):
        known["pouch_money"] = pouches
    nets = _nets_per_kg(species, day, Form.FRESH, Form.DRIED)
    if price := nets.get(Form.FRESH):
        source = price.source.removeprefix("own: ").removeprefix("farm details: ")
        half = Known(price.value // 2, f"half of {source}")
        known["discount_money"] = half
    if price := nets.get(Form.DRIED):
        known["dried_money"] = price
    return known


def weeks_of_dried(species: Species, day: date) -> tuple[int, int]:
    """Dried weight on hand, and what was sold of it in the last eight weeks, in mg."""
    on_hand = _on_hand(species, Form.DRIED, Stage.DRIED, Stage.PACKS)
    since = day - timedelta(weeks=WEEKS)
    return on_hand, _sold(species, since, until=day)[Form.DRIED][0]


# --- what a kilo brings ----------------------------------------------------------------------


def _nets_per_kg(species: Species, day: date, *forms: str) -> dict[str, Known]:
    """What a kilo of each form brought lately, else the lowest price on the list that day.

    Net of tax; three queries at most, for one form or for two.
    """
    said = "own: net takings a kilo, 90 days"
    sold = _sold(species, day - RECENT, until=day)
    own = {
        form: Known(round(net * Fraction(MILLION, mass_mg)), said)
        for form, (mass_mg, net) in sold.items()
        if form in forms and mass_mg > 0 and net > 0
    }
    others = [form for form in forms if form not in own]
    return own | _listed_per_kg(species, day, others) if others else own


def _listed_per_kg(species: Species, day: date, forms: Sequence[str]) -> dict[str, Known]:
    """The lowest of the prices in force of the species' packs of each form, net of tax, a kilo."""
    rows = Price.objects.filter(
        product__species=species, product__form__in=forms, from_day__lte=day, pack_money__gt=0
    )
    in_force = {(row.product_id, row.place_id): row for row in rows.order_by("from_day")}
    packs = products_on(day, Product.objects.filter(species=species, form__in=forms))
    of = {product.pk: product for product in packs}
    nets: dict[str, list[Fraction]] = defaultdict(list)
    for (pk, _), row in in_force.items():
        if pk:
            tax_ppm = of[pk].tax_ppm if row.tax_included else 0
            kilo = Fraction(row.pack_money * MILLION, of[pk].net_mg)
            nets[of[pk].form].append(kilo / (1 + Fraction(tax_ppm, MILLION)))
    said = "farm details: the lowest price in force, net"
    return {form: Known(round(min(each)), said) for form, each in nets.items()}


def _sold(species: Species, since: date, *, until: date) -> dict[str, tuple[int, int]]:
    """Weight sold of a species by form, returns taken off, and its net money; one query."""
    lines = SaleLine.objects.filter(
        line__lot__card__species=species, line__entry__happened_on__range=(since, until)
    )
    found: dict[str, tuple[int, int]] = defaultdict(lambda: (0, 0))
    for line in lines.select_related("line__lot__item", "line__lot__card__product"):
        lot = line.line.lot
        mass_mg, net = found[_form_of(lot.card)]
        mass_mg -= line.line.quantity * _mass_of_one(lot)
        found[_form_of(lot.card)] = mass_mg, net + line.net
    return found


def _form_of(card: LotCard) -> str:
    if card.product:
        return card.product.form
    return Form.DRIED if card.stage == Stage.DRIED else Form.FRESH


def _mass_of_one(lot: Lot) -> int:
    return 1 if lot.item.dimension == Dimension.MASS else lot.unit_mass_mg or 0


def _on_hand(species: Species, form: Form, *stages: Stage) -> int:
    lots = Lot.objects.filter(card__species=species, card__stage__in=stages, quantity__gt=0)
    return sum(
        lot.quantity * _mass_of_one(lot)
        for lot in lots.select_related("item", "card__product")
        if _form_of(lot.card) == form
    )


# --- what a block and its handling cost ------------------------------------------------------


def _of_a_card(choice: Choice, found: CardInputs) -> dict[str, Known]:
    """What a cost card of the strain says of losses, handling and the block."""
    values = found.values
    known: dict[str, Known] = {"lost_ppm": values["loss_ppm"]}
    left = Fraction(1)
    for key in ("trim_ppm", "fridge_ppm", "unsold_ppm"):
        left *= 1 - Fraction(values[key].value, MILLION)
    known["sold_ppm"] = Known(round(left * MILLION), "after trim, fridge and unsold of the card")
    if handling := _handling(values):
        known["handling_money"] = handling
    if block := _block(choice, found):
        known["block_money"] = block
    return known


def _handling(values: dict[str, Known]) -> Known | None:
    if not {"own_hour_money", "pack_money"} <= set(values):
        return None
    packs = Fraction(MILLION, values["net_mg"].value)
    seconds = values["pick_seconds"].value + packs * values["pack_seconds"].value
    money = seconds * values["own_hour_money"].value / 3600 + packs * values["pack_money"].value
    return Known(round(money), "standard times at your own hour, and the empty packs")


def _block(choice: Choice, found: CardInputs) -> Known | None:
    """A block's cost by the card, own hours in, room left out: the place is what is asked about."""
    # Where it is sold is no part of a block.
    values = {one.key: 0 for one in GROUPS["Packing and selling"] if one.key != "pack_money"}
    values |= {key: known.value for key, known in found.values.items()}
    try:
        plan = plan_from(values, found.ingredients, choice.names)
    except Refused:
        return None
    cost = sum(line.cost for line in block_lines(plan) if line.kind != "room")
    bare = sum(line.cost for line in block_lines(without_own_hours(plan)) if line.kind != "room")
    return Known(
        round(cost), f"the card's block; {to_places(float(bare / 10_000), 2)} without own hours"
    )


# --- drying ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Dried:
    """All the farm's dryings of a species that stand: their weights, and their hours and energy."""

    times: int
    fresh_mg: int
    dried_mg: int
    cost: int


def _ratio(species: Species, own: _Dried) -> Known:
    """Fresh for one dried: all the farm dried of the species, else by its water to a tenth left."""
    if own.dried_mg:
        ratio = Fraction(own.fresh_mg * MILLION, own.dried_mg)
        return Known(round(ratio), f"own: {own.times} dryings")
    kilo = Portion(MILLION, species.moisture_ppm)
    by_water = round(Fraction(MILLION * MILLION, dried_mass(kilo, DRIED_TO_PPM)))
    return Known(by_water, "farm details: the species' water, dried to 10 % moisture")


def _pouches(species: Species, day: date, rates: Mapping[str, Known]) -> Known | None:
    """What packing a dried kilo takes: empty pouches and the hours of filling them.

    By the smallest dried pack of the species; unknown while its pouch was never bought. Two
    queries, and one for the times.
    """
    packs = Product.objects.filter(species=species, form=Form.DRIED).select_related(
        "packaging__item"
    )
    pack = packs.order_by("net_mg", "pk").first()
    if pack is None:
        return Known(0, "sold loose: no dried pack is listed for the species")
    money, said = Fraction(0), "no pouch is named for it"
    if pack.packaging:
        item = pack.packaging.item
        price, said = last_prices([item], day)[item.pk]
        if price == UNKNOWN_PRICE:
            return None
        money += price
    if hour := rates.get("own_hour_money"):
        money += Fraction(standard_seconds()[PACK][1] * hour.value, 3_600)
        said += ", and its hours"
    return Known(round(money * MILLION / pack.net_mg), f"{pack.name}: {said}")


def _drying_cost(own: _Dried, rates: Mapping[str, Known]) -> Known | None:
    """Hours and energy a kilo fresh: of the farm's own dryings, else the standard times."""
    if own.fresh_mg:
        return Known(round(Fraction(own.cost * MILLION, own.fresh_mg)), f"own: {own.times} dryings")
    if not {"own_hour_money", "kwh_money"} <= set(rates):
        return None
    _, each = standard_seconds()[DRY]
    money = Fraction(each * rates["own_hour_money"].value, 3600)
    money += Fraction(DRYER_WH * rates["kwh_money"].value, 1000)
    return Known(round(money), f"standard time and 1.5 kWh: {PRACTICE}")


def _dried(species: Species) -> _Dried:
    found = dryings(species)
    places = [one.entry.pk for one in found]
    charges = Charge.objects.standing_at(places).aggregate(total=Sum("amount"))
    fresh, dried = sum(one.fresh_mg for one in found), sum(one.dried_mg for one in found)
    return _Dried(len(found), fresh, dried, charges["total"] or 0)
