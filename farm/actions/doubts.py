"""What is doubtful in what was typed: held against the farm's own records, else against beliefs.

Each returns a question, or nothing; `questions.answered` asks them. The factors are own rules:
wide enough that a good or a bad day is taken without a word, narrow enough for the other unit
(pounds for kilos: 2.2 times) or a slipped decimal mark (10 times).
"""

from collections.abc import Sequence

from farm.actions.common import both
from farm.actions.questions import PlausibilityQuestion
from farm.models import LotCard, Species, Steriliser, Supply, the_farm
from farm.queries.prices import Listed
from farm.queries.usual import Usual, last_price, usual_stated, usual_weight_mg
from farm.units import MG_PER_LB, show_money
from ledger.models import Lot

# Against what was planned, which is a belief; and against the middle of what was picked before.
TIMES_PLANNED, TIMES_USUAL = 3, 2
SLIPPED = 10
TIMES_SPAWN, TIMES_MINUTES = 3, 3
# Spawn of the wet substrate: common practice, no source. Own spawn is used more freely.
BELIEVED_SPAWN_PPM = (5_000, 300_000)
# Drums steam for a day, vessels for an hour or two: common practice, no source.
BELIEVED_MINUTES = (20, 1_800)


def pick_doubt(
    species: Species, cards: Sequence[LotCard], *, flush: int, total_mg: int
) -> PlausibilityQuestion | None:
    """Ask about a weight a block that this farm never picked, or that nobody would believe.

    12.4 kg from 4 blocks are 3.1 kg a block; where 480 g is usual, 5.62 kg were meant: pounds.
    """
    blocks = sum(card.lot.quantity for card in cards)
    codes = [card.lot.code for card in cards]
    usual = usual_weight_mg(species, flush)
    if usual is None:
        return _against_plan(cards, flush=flush, total_mg=total_mg)
    each_mg = total_mg // blocks
    is_much = each_mg > max(usual.middle * TIMES_USUAL, usual.most)
    is_little = each_mg * SLIPPED < min(usual.middle, usual.least * SLIPPED)
    if not is_much and not is_little:
        return None
    return PlausibilityQuestion(
        f"{both(total_mg)} from {blocks} blocks is {both(each_mg)} a block, where "
        f"{both(usual.middle)} is usual ({usual.count} lots, {both(usual.least)} to "
        f"{both(usual.most)}).{_pounds(total_mg, each_mg, usual) if is_much else ''}",
        codes,
    )


def spawn_doubt(bags: Lot, *, spawn_mg: int, count: int) -> PlausibilityQuestion | None:
    """Ask about a spawn rate outside what is usual, as a share of the wet substrate."""
    if not bags.unit_mass_mg:
        return None
    rate_ppm = spawn_mg * 1_000_000 // (bags.unit_mass_mg * count)
    usual = usual_stated("inoculate blocks", "of_wet_substrate_ppm")
    low, high = _band(usual, TIMES_SPAWN, BELIEVED_SPAWN_PPM)
    if low <= rate_ppm <= high:
        return None
    return PlausibilityQuestion(
        f"{both(spawn_mg)} of spawn for {count} bags of lot {bags.code} is "
        f"{rate_ppm / 10_000:.1f} % of the wet substrate, where {low / 10_000:.1f} % to "
        f"{high / 10_000:.1f} % is usual. Are the bags and the weight right?",
        [bags.code],
    )


def minutes_doubt(steriliser: Steriliser, minutes: int) -> PlausibilityQuestion | None:
    """Ask about a run far shorter or longer than this steriliser's runs."""
    usual = usual_stated("steriliser run", "minutes_at_temperature", steriliser=steriliser.name)
    low, high = _band(usual, TIMES_MINUTES, BELIEVED_MINUTES)
    if low <= minutes <= high:
        return None
    return PlausibilityQuestion(
        f"{minutes} minutes at temperature in {steriliser.name}, where {low} to {high} are usual. "
        "Hours, or another run?"
    )


def price_doubt(supply: Supply, *, quantity: int, money: int) -> PlausibilityQuestion | None:
    """Ask about a price ten times the last one, or a tenth of it: a decimal mark that slipped."""
    last = last_price(supply)
    if last is None or not money or quantity <= 0:
        return None
    was_money, was_quantity = last
    now, was = money * was_quantity, was_money * quantity
    if now >= was * SLIPPED or now * SLIPPED <= was:
        farm = the_farm()
        like = was_money * quantity // was_quantity
        return PlausibilityQuestion(
            f"{show_money(money, farm.currency)} for this {supply}: at the price of the last "
            f"delivery it would be {show_money(like, farm.currency)}. Did a decimal mark slip?",
            is_money=True,
        )
    return None


def sale_price_doubt(lot: Lot, money: int, *, listed: Listed) -> PlausibilityQuestion | None:
    """Ask about a price ten times what is listed, or a tenth of it: 4.50 listed, 45.00 typed."""
    usual_money = listed.unit_money
    is_free = not money or not usual_money
    if is_free or usual_money < money * SLIPPED < usual_money * SLIPPED * SLIPPED:
        return None
    farm = the_farm()
    return PlausibilityQuestion(
        f"Lot {lot.code}: {show_money(money, farm.currency)} each, where "
        f"{show_money(listed.unit_money, farm.currency)} is the price ({listed.source}). "
        "Did a decimal mark slip?",
        [lot.code],
        is_money=True,
    )


def _band(usual: Usual | None, times: int, believed: tuple[int, int]) -> tuple[int, int]:
    """From a third of the middle to three times it, and at least what was there before."""
    if usual is None:
        return believed
    return min(usual.middle // times, usual.least), max(usual.middle * times, usual.most)


def _pounds(total_mg: int, each_mg: int, usual: Usual) -> str:
    """Say what it would be had pounds been typed as kilos, where that is usual."""
    if the_farm().weight_unit != "kg":
        return ""
    meant = round(total_mg * MG_PER_LB / 1_000_000)
    each = round(each_mg * MG_PER_LB / 1_000_000)
    return f" Pounds? Then it is {both(meant)}." if each <= usual.most * TIMES_USUAL else ""


def _against_plan(
    cards: Sequence[LotCard], *, flush: int, total_mg: int
) -> PlausibilityQuestion | None:
    blocks, planned_mg = 0, 0
    for each in cards:
        assert each.strain
        flushes_mg = each.strain.flushes_mg
        blocks += each.lot.quantity
        planned_mg += each.lot.quantity * (flushes_mg[min(flush, 3) - 1] or flushes_mg[0])
    if total_mg <= TIMES_PLANNED * planned_mg:
        return None
    return PlausibilityQuestion(
        f"{both(total_mg)} from {blocks} blocks, where {both(planned_mg)} was planned? Was it "
        "weighed in the other unit?",
        [each.lot.code for each in cards],
    )
