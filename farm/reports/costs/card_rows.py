"""The cost card as a report: what to ask, the five costs, the block, what makes it uncertain."""

from collections.abc import Sequence
from dataclasses import dataclass

from farm.habits import to_places
from farm.planning.card import Card, whole_parts
from farm.planning.inputs import Names
from farm.planning.outlook import COSTS
from farm.planning.pricing import Ask
from farm.planning.work import PlaceAsk, Worked
from farm.reports.bars import Step, waterfall
from farm.reports.costs.card_words import money, nothing_words, percent, range_words
from farm.reports.costs.range_bar import RangeRow, range_bars
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table, total_row

MILLION = 1_000_000
LABELS = {
    "picked": "Picked",
    "saleable": "Saleable",
    "packed": "Packed",
    "sold": "Sold",
    "placed": "Sold at the place",
}
CAUTIONS = (
    "A plan, worked as the book works what happened: all blocks expected to be lost are carried by "
    "the others. It is a management cost, not a valuation for tax.",
    "A price floor leaves nothing for you beyond the hours charged. Margin is profit over the net "
    "price, markup profit over cost: 25 % markup is 20 % margin.",
)


@dataclass(frozen=True)
class UsedNumber:
    """One number the card was worked from, as it is read, with its source."""

    label: str
    shown: str
    source: str


def card_report(
    worked: Worked, names: Names, made: Made, *, used: Sequence[UsedNumber], title: str = ""
) -> Report:
    """Build the card's report; page and PDF lay it out."""
    unit = f"{made.currency} per kg"
    return Report(
        title=title or f"Cost card: {names.strain}",
        subtitle=f"{names.recipe}; {names.pack}; sold at {names.place}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=_facts(worked, made.currency),
        drawings=(
            waterfall(
                [
                    Step(rung.label, amount)
                    for rung, amount in zip(worked.card.rungs, worked.card.amounts(), strict=True)
                ],
                title=f"A kilo, step by step, {unit}",
                unit=unit,
            ),
            range_bars(_range_rows(worked), title=f"How far off it may be, {unit}", unit=unit),
        ),
        tables=(
            _places(worked.places),
            _costs(worked),
            _block(worked.card),
            _causes(worked),
            _numbers(used),
        ),
        cautions=CAUTIONS,
    )


def _facts(worked: Worked, currency: str) -> tuple[Fact, ...]:
    here, placed = worked.here, worked.outlook.ranges["placed"]
    target, day = here.target, here.break_even
    facts = [
        Fact("A pack loses money below, tax in it", here.floor.pack_money, Kind.MONEY),
        Fact("The same pack without own hours", worked.bare_floor.pack_money, Kind.MONEY),
        Fact(
            f"Target of a pack: margin {percent(target.margin)}, markup {percent(target.markup)}",
            target.pack_money,
            Kind.MONEY,
        ),
        Fact("A block started, all its costs", sum(_block_parts(worked.card)), Kind.MONEY),
        Fact("A kilo sold there, as planned", round(worked.card.chain.placed), Kind.UNIT_COST),
        Fact("The same without own hours", round(worked.bare.chain.placed), Kind.UNIT_COST),
        Fact("The same, eight batches in ten", range_words(placed, currency)),
        Fact(
            f"At {money(here.pays.pack_money, currency)} a pack, a day there is paid for after",
            f"{to_places(day.weight_mg / MILLION, 1)} kg: "
            f"{day.packs} packs, {day.blocks} blocks started",
        ),
    ]
    if here.asked:
        facts.insert(3, Fact(_asked_words(here.asked), here.asked.pack_money, Kind.MONEY))
    return tuple(facts)


def _asked_words(ask: Ask) -> str:
    loses = ", which loses money" if ask.profit < 0 else ""
    return f"Asked now{loses}: margin {percent(ask.margin)}, markup {percent(ask.markup)}"


def _places(places: Sequence[PlaceAsk]) -> Table:
    columns = (
        Column("Selling place"),
        Column("Cost of a kilo", Kind.MONEY),
        Column("Floor, a kilo net", Kind.MONEY),
        Column("Floor, a pack", Kind.MONEY),
        Column("Target, a pack", Kind.MONEY),
        Column("Asked now", Kind.MONEY),
        Column("Its margin", Kind.RATIO),
        Column("Its markup", Kind.RATIO),
    )
    rows = tuple(_place_row(place) for place in places)
    note = (
        "Cost of a kilo sold there, before shares of the takings; packs with tax in them. "
        "Floor = cost / (1 - share of the takings)."
    )
    return Table("What to ask, place by place", columns, rows, note=note)


def _place_row(place: PlaceAsk) -> Row:
    asked = place.asked
    now: tuple[Cell, ...] = (None, None, None)
    if asked:
        now = (asked.pack_money, round(asked.margin * MILLION), round(asked.markup * MILLION))
    return (
        place.card.plan.place.name,
        round(place.card.chain.placed),
        round(place.floor.net_kg_money),
        place.floor.pack_money,
        place.target.pack_money,
        *now,
    )


def _costs(worked: Worked) -> Table:
    columns = (
        Column("A kilo"),
        Column("Planned", Kind.MONEY),
        Column("Without own hours", Kind.MONEY),
        Column("One in ten below", Kind.MONEY),
        Column("Middle", Kind.MONEY),
        Column("One in ten above", Kind.MONEY),
    )
    rows: list[Row] = []
    for key in COSTS:
        found = worked.outlook.ranges[key]
        planned, bare = (getattr(card.chain, key) for card in (worked.card, worked.bare))
        rows.append((LABELS[key], round(planned), round(bare), found.low, found.median, found.high))
    nothing = nothing_words(worked.outlook.ranges["placed"]) or "every batch gives something"
    if worked.outlook.ranges["placed"].high is None:
        nothing += ", so that there is no dear end"
    note = (
        f"Range from simulated batches (seed {worked.outlook.seed}); {nothing}. Its middle lies "
        "above the plan where more can go worse than better. “Sold” is before selling costs, “sold "
        "at the place” after them."
    )
    return Table("The five costs of a kilo", columns, tuple(rows), note=note)


def _block(card: Card) -> Table:
    columns = (
        Column("A block started"),
        Column("Cost", Kind.MONEY),
        Column("How much"),
        Column("Kind of cost"),
    )
    rows = tuple(
        (line.label, part, line.note, line.kind)
        for line, part in zip(card.lines, _block_parts(card), strict=True)
        if part
    )
    return Table("A block, line by line", columns, rows, total_row(columns, rows, {"Cost"}))


def _block_parts(card: Card) -> list[int]:
    return whole_parts(line.cost for line in card.lines)


def _causes(worked: Worked) -> Table:
    columns = (
        Column("What varies"),
        Column("Range narrows if known, of its width", Kind.RATIO),
        Column("Spread from"),
    )
    rows = tuple(
        (cause.label, cause.narrows_ppm, worked.sources[cause.key])
        for cause in worked.outlook.causes
    )
    return Table("What makes the range wide", columns, rows)


def _numbers(used: Sequence[UsedNumber]) -> Table:
    columns = (Column("Number"), Column("Value"), Column("From"))
    rows = tuple((one.label, one.shown, one.source) for one in used)
    return Table("Worked from", columns, rows)


def _range_rows(worked: Worked) -> list[RangeRow]:
    ranges = worked.outlook.ranges
    return [
        RangeRow(
            LABELS[key],
            ranges[key].low,
            ranges[key].median,
            ranges[key].high,
            round(getattr(worked.card.chain, key)),
        )
        for key in COSTS
    ]
