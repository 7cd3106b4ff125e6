"""The cost card: what a kilo will cost at each step, before the first block is filled.

Exact: whole numbers in, fractions inside; `whole_parts` turns fractions into whole money that adds
up. A plan is priced as the book will price it: own hours at a rate, room by the shelf-day, the
steriliser by what was in it, selling to the selling place and not to the stock.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from farm.habits import marked
from farm.planning.chain import Brings, Chain
from ledger.errors import Malformed

MILLION = 1_000_000
HOUR = 3_600


@dataclass(frozen=True)
class Ingredient:
    """So much per block (mg or pieces) at a price per kilo or piece."""

    name: str
    quantity: int
    price_money: int
    is_weighed: bool = True

    @property
    def cost(self) -> Fraction:
        return Fraction(self.quantity * self.price_money, MILLION if self.is_weighed else 1)


@dataclass(frozen=True)
class Rates:
    """What an hour, a kilowatt-hour and a block's day on the shelf cost; how many hours are own."""

    own_hour_money: int
    paid_hour_money: int
    own_ppm: int
    kwh_money: int
    block_day_money: int

    def own(self, seconds: int) -> Fraction:
        return Fraction(seconds * self.own_hour_money * self.own_ppm, HOUR * MILLION)

    def paid(self, seconds: int) -> Fraction:
        return Fraction(seconds * self.paid_hour_money * (MILLION - self.own_ppm), HOUR * MILLION)

    def hours(self, seconds: int) -> Fraction:
        return self.own(seconds) + self.paid(seconds)


@dataclass(frozen=True)
class Batch:
    """Blocks made together. ``lost_count``, where stated, stands instead of the rate on started."""

    blocks: int
    ingredients: tuple[Ingredient, ...]
    run_wh: int
    load_blocks: int
    block_seconds: int
    shelf_days: int
    loss_ppm: int
    lost_count: int | None = None

    @property
    def kept(self) -> Fraction:
        if self.lost_count is not None:
            return Fraction(self.blocks - self.lost_count, self.blocks)
        return 1 - Fraction(self.loss_ppm, MILLION)


@dataclass(frozen=True)
class Crop:
    """What a fruited block gives, flush by flush, and what is lost of it until it is sold.

    ``unsold_ppm``: unsold and binned, of what the fridge left; what is dried or sold elsewhere is
    not counted as unsold.
    """

    flushes_mg: tuple[int, ...]
    pick_seconds: int  # per kilo picked
    trim_ppm: int
    fridge_ppm: int
    unsold_ppm: int

    @property
    def yield_mg(self) -> int:
        return sum(self.flushes_mg)


@dataclass(frozen=True)
class Pack:
    name: str
    net_mg: int
    pack_money: int
    pack_seconds: int

    def cost_per_kg(self, rates: Rates) -> Fraction:
        return (self.pack_money + rates.hours(self.pack_seconds)) * MILLION / self.net_mg


@dataclass(frozen=True)
class Place:
    """A day of selling. Shares are taken of the takings, tax included. ``day_mg``: sold a day."""

    name: str
    day_fee_money: int
    day_seconds: int
    day_mg: int
    share_ppm: int = 0
    card_ppm: int = 0
    tax_ppm: int = 0

    def day_cost(self, rates: Rates) -> Fraction:
        """What the day costs however little is sold."""
        return self.day_fee_money + rates.hours(self.day_seconds)

    @property
    def taken(self) -> Fraction:
        """Share of the net price that the takings cost: 5 % of a price with 10 % tax is 5.5 %."""
        return Fraction(self.share_ppm + self.card_ppm, MILLION) * (
            1 + Fraction(self.tax_ppm, MILLION)
        )


@dataclass(frozen=True)
class ByProducts:
    """What a fruited block brings once it is spent, and a kilo of trim; none where nothing does.

    ``taken_off``: off the cost of the crop, instead of sharing it by worth beside ``crop_money``,
    what a kilo of the crop is worth.
    """

    spent_money: int = 0
    trim_money: int = 0
    crop_money: int = 0
    taken_off: bool = False

    @property
    def is_any(self) -> bool:
        return bool(self.spent_money or self.trim_money)

    def brings(self, money: int) -> Brings[Fraction]:
        """Bring money of one by-product to its way of counting."""
        nothing = Fraction(0)
        if self.taken_off or not money:
            return Brings(Fraction(money), nothing)
        return Brings(nothing, Fraction(money, self.crop_money))


@dataclass(frozen=True)
class Plan:
    batch: Batch
    crop: Crop
    pack: Pack
    place: Place
    rates: Rates
    margin_ppm: int = 0
    by_products: ByProducts = ByProducts()


@dataclass(frozen=True)
class CostLine:
    """One line of the block's cost; ``kind`` is one of the book's five kinds of cost."""

    label: str
    note: str
    kind: str
    cost: Fraction


@dataclass(frozen=True)
class Rung:
    """One step of the cascade, per kilo; a named cost has no amount of its own."""

    label: str
    total: Fraction
    is_named: bool = False


@dataclass(frozen=True)
class Card:
    plan: Plan
    lines: tuple[CostLine, ...]
    chain: Chain[Fraction]
    rungs: tuple[Rung, ...]

    @property
    def block_cost(self) -> Fraction:
        return self.chain.block

    @property
    def margin(self) -> Fraction:
        """The margin wished for, in parts of the net price."""
        return Fraction(self.plan.margin_ppm, MILLION)

    def amounts(self) -> list[int | None]:
        """Whole money each step adds; None for a named cost. They add up to every named cost."""
        totals = [0, *(round(rung.total) for rung in self.rungs)]
        steps = [after - before for before, after in pairwise(totals)]
        return [
            None if rung.is_named else step for rung, step in zip(self.rungs, steps, strict=True)
        ]


def card_of(plan: Plan) -> Card:
    """Work the card out; refuses a plan that divides by nothing, naming the number."""
    check(plan)
    lines = block_lines(plan)
    chain = Chain(
        block=sum((line.cost for line in lines), Fraction(0)),
        kept=plan.batch.kept,
        yield_kg=Fraction(plan.crop.yield_mg, MILLION),
        picking=plan.rates.hours(plan.crop.pick_seconds),
        untrimmed=1 - Fraction(plan.crop.trim_ppm, MILLION),
        packing=plan.pack.cost_per_kg(plan.rates),
        unshrunk=1 - Fraction(plan.crop.fridge_ppm, MILLION),
        bought=1 - Fraction(plan.crop.unsold_ppm, MILLION),
        serving=plan.place.day_cost(plan.rates) * MILLION / plan.place.day_mg,
        spent=plan.by_products.brings(plan.by_products.spent_money),
        trimmed=plan.by_products.brings(plan.by_products.trim_money),
    )
    return Card(plan, lines, chain, _rungs(plan, chain))


def without_own_hours(plan: Plan) -> Plan:
    """The same plan as if own hours cost nothing, as a farm that pays nobody sees its cash."""
    return replace(plan, rates=replace(plan.rates, own_hour_money=0))


def block_lines(plan: Plan) -> tuple[CostLine, ...]:
    """What one block costs until it is picked: materials, energy, hours, room."""
    batch, rates = plan.batch, plan.rates
    minutes = f"{_short(Fraction(batch.block_seconds, 60))} min"
    return (
        *(CostLine(part.name, _amount(part), "materials", part.cost) for part in batch.ingredients),
        CostLine(
            "Steriliser",
            f"{_short(Fraction(batch.run_wh, 1000))} kWh over {batch.load_blocks} blocks",
            "energy",
            Fraction(batch.run_wh * rates.kwh_money, 1000 * batch.load_blocks),
        ),
        CostLine("Paid hours", minutes, "paid", rates.paid(batch.block_seconds)),
        CostLine("Own hours", minutes, "own", rates.own(batch.block_seconds)),
        CostLine(
            "Shelf",
            f"{batch.shelf_days} days",
            "room",
            Fraction(batch.shelf_days * rates.block_day_money),
        ),
    )


def check(plan: Plan) -> None:
    """Refuse what cannot be: every number that divides must be above nothing."""
    batch, crop, place, aside = plan.batch, plan.crop, plan.place, plan.by_products
    shares = aside.is_any and not aside.taken_off
    demands = (
        (batch.blocks > 0, "the number of blocks in the batch"),
        (batch.load_blocks > 0, "the number of blocks in the steriliser"),
        (batch.blocks > 0 and batch.kept > 0, "the share of blocks that is not lost"),
        (crop.yield_mg > 0, "the weight picked from a block"),
        (crop.trim_ppm < MILLION, "the share that trimming leaves"),
        (crop.fridge_ppm < MILLION, "the share that the fridge leaves"),
        (crop.unsold_ppm < MILLION, "the share that is sold"),
        (plan.pack.net_mg > 0, "the weight in a pack"),
        (place.day_mg > 0, "the weight sold in a day"),
        (
            aside.crop_money > 0 or not shares,
            "what a kilo of the crop is worth beside trim and blocks",
        ),
        (place.taken < 1, "what the shares of the takings leave of the price"),
    )
    for is_met, what in demands:
        if not is_met:
            raise Malformed(f"In this card, {what} is nothing or less. State more than zero.")


def whole_parts(parts: Iterable[Fraction]) -> list[int]:
    """Round parts so that they add up to their rounded sum: running sums, each half to even.

    1/3 + 1/3 + 1/3 are 0, 1, 0.
    """
    running, sums = Fraction(0), [0]
    for part in parts:
        running += part
        sums.append(round(running))
    return [after - before for before, after in pairwise(sums)]


def _rungs(plan: Plan, chain: Chain[Fraction]) -> tuple[Rung, ...]:
    place, aside = plan.place, plan.by_products
    fee = chain.sold + Fraction(place.day_fee_money * MILLION, place.day_mg)
    spent = (Rung("Less spent blocks sold", chain.ready),) if aside.spent_money else ()
    trim = (Rung("Less trim sold", chain.saleable),) if aside.trim_money else ()
    return (
        Rung("Block ÷ its yield", chain.block / chain.yield_kg),
        Rung(f"Blocks lost, {_percent(1 - chain.kept)}", chain.alone),
        *spent,
        Rung("Picking", chain.picked),
        Rung("Picked", chain.picked, is_named=True),
        Rung(f"Trim, {_percent(1 - chain.untrimmed)}", chain.picked / chain.untrimmed),
        *trim,
        Rung("Saleable", chain.saleable, is_named=True),
        Rung("Pack and packing", chain.packed),
        Rung("Packed", chain.packed, is_named=True),
        Rung(f"Fridge, {_percent(1 - chain.unshrunk)}", chain.packed / chain.unshrunk),
        Rung(f"Unsold, binned, {_percent(1 - chain.bought)}", chain.sold),
        Rung("Sold", chain.sold, is_named=True),
        Rung("Fee of the day", fee),
        Rung(f"Hours, {_short(Fraction(place.day_seconds, HOUR))} h a day", chain.placed),
        Rung(f"Sold at {place.name}", chain.placed, is_named=True),
    )


def _amount(part: Ingredient) -> str:
    if part.is_weighed:
        return f"{_short(Fraction(part.quantity, 1000))} g"
    return str(part.quantity)


def _percent(share: Fraction) -> str:
    return f"{_short(share * 100)} %"


def _short(number: Fraction) -> str:
    """Write a number with at most one decimal: 7, 57.5."""
    return marked(f"{float(round(number, 1)):.1f}".removesuffix(".0"))
