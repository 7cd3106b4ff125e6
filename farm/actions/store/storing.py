"""What happens to the crop before it is packed: weighed again, dried, thrown away."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from farm.actions.common import (
    Doing,
    Draw,
    amount_words,
    both,
    card,
    energy,
    item_for,
    labour,
    last_day,
    need_stage,
    post,
    put,
    used,
)
from farm.actions.doubts import in_other_unit, too_old_doubt
from farm.actions.hold_refusals import refuse_held
from farm.actions.idempotency import action
from farm.actions.promise_doubts import set_aside_doubt
from farm.actions.questions import PlausibilityQuestion, answered
from farm.kinds.store import COUNT, DRY, THROW_AWAY, WEIGH_AGAIN, Drying, Weighing
from farm.models import Form, LotCard, Shelf, Species, Stage
from farm.moisture import PPM, Portion, fresh_per_dried, plausible_dried_range
from farm.queries.keeping import past_days
from ledger.balances import held_at
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Entry, Lot, Role

MG_PER_KG = 1_000_000
# Own rule: so much may be the scale's, so more than the book by no more is the same weight, and
# what is missing beyond the water is asked about only where it is more.
SCALE_MG = 10_000
UNEXPLAINED = "unexplained"


@action
def weigh_again(doing: Doing, *, lot: Lot, weight_mg: int) -> Recorded:
    """State what a picked lot weighs now; what is missing is water inside the band, else a loss.

    The band compounds over the days since the lot was picked or last weighed: at 2 % a day,
    10 kg may lose 0.396 kg in two days. Water leaves without cost, the rest with its cost:
    10 kg at 50.0000 weighed 8.5, band 0.6: the other 0.9 carries 4.7872.
    Asks about what is missing beyond the band, where no cause is given. Refuses more than the
    book holds by more than the scale may be off, since a lot in the fridge gains nothing.

    A weighing may be told late: it is held against what the lot held when it was weighed, and
    refused once a later one stands.
    """
    found = need_stage(lot, Stage.CROP)
    before = _before_weighing(doing, found)
    if weight_mg > before.book_mg + SCALE_MG or weight_mg <= 0:
        hint = _other_unit(doing, before, weight_mg)
        raise _cannot_weigh(lot, before.book_mg, weight_mg, hint=hint)
    missing_mg = max(0, before.book_mg - weight_mg)
    water_mg = min(missing_mg, before.band_mg)
    lost_mg = missing_mg - water_mg
    if lost_mg > SCALE_MG and not doing.reason.strip():
        doing = answered(doing, missing_doubt(doing, lot, before=before, weight_mg=weight_mg))
    lines = [LineDraft(lot, Role.SHRUNK, -water_mg)] if water_mg else []
    lines += [LineDraft(lot, Role.LOST, -lost_mg)] if lost_mg else []
    if lost_mg and not doing.reason:
        doing = replace(doing, reason=UNEXPLAINED)
    said = Weighing(weight_mg=weight_mg, **vars(before))
    lines = lines or [LineDraft(lot, Role.COUNTED, 0)]
    return post(doing, WEIGH_AGAIN, lines, particulars=said)


@action
def throw_away(doing: Doing, *, lot: Lot, quantity: int) -> Recorded:
    """Bin part of a lot or all of it, with its cost; the cause is required."""
    if quantity <= 0:
        raise Malformed(
            f"Lot {lot.code}: {quantity} cannot be thrown away. State how much was.", [lot.code]
        )
    if not doing.reason.strip():
        raise Malformed(
            f"Lot {lot.code}: {quantity} thrown away without a cause. Say why.", [lot.code]
        )
    doing = answered(doing, set_aside_doubt([Draw(lot, quantity)]))
    return post(doing, THROW_AWAY, [LineDraft(lot, Role.LOST, -quantity)])


@action
def count_lot(doing: Doing, *, lot: Lot, difference: int) -> Recorded:
    """Set a lot right after a count: what was found beyond the book, or what was not there.

    Ten packs too few leave with their cost, for a cause; two too many come in without cost, as
    they were never missing.
    """
    if not difference:
        raise Malformed(f"Lot {lot.code} was found as the book has it. Leave it.", [lot.code])
    if difference < 0 and not doing.reason.strip():
        gone = amount_words(-difference, lot.item.dimension)
        raise Malformed(f"Lot {lot.code}: {gone} gone without a cause. Say why.", [lot.code])
    role = Role.LOST if difference < 0 else Role.COUNTED
    return post(doing, COUNT, [LineDraft(lot, role, difference)])


@dataclass(frozen=True)
class Laid:
    """How it lay in the dryer (slices so many millimetres thick, on trays), and where it went."""

    slice_mm: int | None = None
    trays: int | None = None
    shelf: Shelf | None = None


@action
def dry(
    doing: Doing,
    *,
    draws: Sequence[Draw],
    dried_mg: int,
    temperature_milli_c: int,
    minutes_drying: int,
    dryer_wh: int = 0,
    laid: Laid | None = None,
) -> Recorded:
    """Dry fresh mushrooms of one species, loose or out of their packs.

    The dry matter stays, so the weights are checked: from the species' water in the fresh
    mushroom, 10 kg of shiitake at 89.74 % that weigh 1.1337 kg dried are 9.5 % moist, at 8.82
    to 1. Asks when that is below 2 % or above 15 %, and about what is past its days, of which the
    dried lot says so; refuses more than went in.
    """
    cards = [_fresh_card(draw.lot) for draw in draws]
    species, laid = one_species(cards), laid or Laid()
    fresh = Portion(sum(map(mass_of, draws)), species.moisture_ppm)
    refuse_held(doing, [draw.lot for draw in draws], "dried")
    doing = answered(
        doing,
        too_old_doubt([draw.lot for draw in draws], doing.day),
        dried_doubt(doing, draws, fresh, dried_mg=dried_mg),
        set_aside_doubt(draws),
    )
    lot = NewLot(item_for(f"Dried {species}", stage=Stage.DRIED))
    made = LineDraft(lot, Role.MADE, dried_mg, basis=dried_mg)
    recorded = post(
        doing,
        DRY,
        [*used(draws), made],
        charges=[*labour(doing, DRY, -(-fresh.mass_mg // MG_PER_KG)), *energy(doing, dryer_wh)],
        particulars=Drying(
            temperature_milli_c=temperature_milli_c,
            minutes_drying=minutes_drying,
            fresh_mg=fresh.mass_mg,
            fresh_moisture_ppm=species.moisture_ppm,
            dried_moisture_ppm=dried_moisture(fresh, dried_mg),
            fresh_per_dried_ppm=fresh_per_dried(fresh.mass_mg, dried_mg),
            slice_mm=laid.slice_mm or None,
            trays=laid.trays or None,
            past_days=past_days(cards, doing.day),
        ),
    )
    if recorded.fresh:
        card(recorded.lots[-1], Stage.DRIED, **origin_of(cards))
        put(recorded.entry, recorded.lots[-1], laid.shelf)
    return recorded


def dried_moisture(fresh: Portion, dried_mg: int) -> int:
    """Work out the water left in what was dried, wet basis, half to even; never below 0."""
    return max(0, round(PPM - fresh.dry_mg * PPM / Fraction(dried_mg)))


def one_species(cards: Sequence[LotCard]) -> Species:
    """Return the species that all lots are of; refuses a mix, and nothing at all."""
    by_species = {card.species: card.lot.code for card in cards}
    if len(by_species) != 1 or None in by_species:
        raise Malformed(
            f"{len(by_species)} species in one go: lots {', '.join(by_species.values()) or 'none'}."
            " Choose lots of one species.",
            list(by_species.values()),
        )
    return next(species for species in by_species if species)


def origin_of(cards: Sequence[LotCard]) -> dict[str, object]:
    """Say what a lot made of picks keeps of them: species, strain if one, the oldest pick."""
    strains = {card.strain for card in cards}
    return {
        "species": one_species(cards),
        "strain": strains.pop() if len(strains) == 1 else None,
        "harvested_on": min((c.harvested_on for c in cards if c.harvested_on), default=None),
    }


# --- weighing --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Before:
    """What the book held before a weighing, and how much of it may have gone as water."""

    book_mg: int
    days: int
    band_mg: int


def _before_weighing(doing: Doing, found: LotCard) -> Before:
    lot, species = Lot.objects.select_related("made_by").get(pk=found.lot_id), found.species
    assert species, "a picked lot has a species"
    _refuse_late(doing, lot)
    since = last_day(lot, [WEIGH_AGAIN]) or lot.made_by.happened_on
    days = max(0, (doing.day - since).days)
    book_mg = held_when(doing, lot)
    return Before(book_mg, days, water_band(book_mg, species.water_loss_ppm, days))


def held_when(doing: Doing, lot: Lot) -> int:
    """What a lot held when something was done to it; at the earliest when it was made."""
    return held_at(max(doing.happened_at, lot.made_by.happened_at), [lot.pk])[lot.pk]


def _refuse_late(doing: Doing, lot: Lot) -> None:
    """Refuse a weighing after which the lot was weighed or set right again: the last one stands."""
    later = (
        Entry.objects.filter(
            lines__lot=lot,
            kind__in=(WEIGH_AGAIN, COUNT),
            amends=None,
            happened_at__gt=doing.happened_at,
        )
        .standing()
        .last()
    )
    if later is not None:
        raise Malformed(
            f"Lot {lot.code} was weighed or counted again after that, as entry {later.seq}: that "
            "weight stands. Give this one up, or weigh once more.",
            [lot.code],
        )


def water_band(quantity_mg: int, loss_ppm: int, days: int) -> int:
    """Work out the water that may be lost in some days; what remains is rounded down.

    10 kg at 20,000 ppm over 2 days: 10 x 0.98 x 0.98 = 9.604 kg remain, the band is 0.396 kg.
    """
    left_mg: int = quantity_mg * (PPM - loss_ppm) ** days // PPM**days
    return quantity_mg - left_mg


def _other_unit(doing: Doing, before: Before, weight_mg: int) -> str:
    """Say what it weighs in the other unit, where that is what is there, or a tenth less."""
    most_mg = before.book_mg + SCALE_MG
    least_mg = (before.book_mg - before.band_mg) * 9 // 10
    return in_other_unit(doing.by, weight_mg, lambda mg: least_mg <= mg <= most_mg)


def missing_doubt(
    doing: Doing, lot: Lot, *, before: Before, weight_mg: int
) -> PlausibilityQuestion:
    """Ask where the rest may be: mostly it was not written down, or the scale was not at zero."""
    band_mg, gone_mg = before.band_mg, before.book_mg - weight_mg
    return PlausibilityQuestion(
        f"Lot {lot.code}: {both(weight_mg)} weighed, {both(before.book_mg)} in the book. In "
        f"{before.days} days up to {both(band_mg)} may be water; {both(gone_mg - band_mg)} more is "
        "missing. Is something not written down yet (a sale, a sample, trim, a crate moved), or "
        f"was the scale not at zero? Is {both(weight_mg)} right?"
        f"{_other_unit(doing, before, weight_mg)}",
        [lot.code],
    )


def _cannot_weigh(lot: Lot, book_mg: int, weight_mg: int, *, hint: str) -> Malformed:
    if weight_mg <= 0:
        remedy = "If nothing is left, throw the rest away with the cause."
    else:
        remedy = (
            f"Weigh once more; if it is right, correct entry {lot.made_by_id}, which made the lot."
        )
    return Malformed(
        f"Lot {lot.code}: {both(weight_mg)} weighed, the book holds {both(book_mg)}.{hint} "
        + remedy,
        [lot.code],
    )


# --- drying ----------------------------------------------------------------------------------


def _fresh_card(lot: Lot) -> LotCard:
    """Return the card of a fresh lot; refuse packs of what is dried already."""
    found = need_stage(lot, Stage.CROP, Stage.PACKS)
    if found.product is not None and found.product.form != Form.FRESH:
        raise Malformed(
            f"Lot {lot.code} is {found.product}, dried already. Choose fresh lots.", [lot.code]
        )
    return found


def mass_of(draw: Draw) -> int:
    """What is drawn, in mg; packs hold what they declare."""
    is_mass = draw.lot.item.dimension == Dimension.MASS
    return draw.quantity * (1 if is_mass else draw.lot.unit_mass_mg or 0)


def dried_doubt(
    doing: Doing, draws: Sequence[Draw], fresh: Portion, *, dried_mg: int
) -> PlausibilityQuestion | None:
    codes = [draw.lot.code for draw in draws]
    if not 0 < dried_mg < fresh.mass_mg:
        raise Malformed(
            f"Lot {', '.join(codes)}: {both(fresh.mass_mg)} fresh cannot weigh {both(dried_mg)} "
            "dried. Weigh once more, or state more lots that went in.",
            codes,
        )
    least_mg, most_mg = plausible_dried_range(fresh)
    if least_mg <= dried_mg <= most_mg:
        return None
    held = f"{round(dried_moisture(fresh, dried_mg) / 10_000)} % water"
    odd = f"would still hold {held}" if dried_mg > most_mg else "is less than its dry matter allows"
    return PlausibilityQuestion(
        f"Lot {', '.join(codes)}: {both(fresh.mass_mg)} fresh usually give "
        f"{both(least_mg)} to {both(most_mg)} dried (2 % to 15 % water left). "
        f"{both(dried_mg)} {odd}. Is it right?"
        + in_other_unit(doing.by, dried_mg, lambda mg: least_mg <= mg <= most_mg),
        codes,
    )
