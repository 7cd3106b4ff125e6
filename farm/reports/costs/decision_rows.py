"""The decisions as rows: each with its arithmetic shown, line by line."""

from collections.abc import Sequence
from fractions import Fraction

from farm.habits import to_places
from farm.planning.decisions import (
    MILLION,
    POUND_MG,
    DryingCase,
    FlushCase,
    a_pound,
    an_ounce,
)
from farm.queries.growing.flushes import FlushKept
from farm.reports.bars import Bar, bars
from farm.reports.report_heading import Made
from farm.reports.rows import Cell, Column, Fact, Kind, Report, Row, Table, show_cell, show_fact

STEPS = (Column("Step"), Column("Worked"), Column("Result", Kind.MONEY))
KEPT = (
    Column("Block lot"),
    Column("Blocks kept", Kind.COUNT),
    Column("First flush", Kind.MASS),
    Column("Later flushes", Kind.MASS),
    Column("A block", Kind.MASS),
    Column("Days waited", Kind.COUNT),
    Column("Needed, a block", Kind.MASS),
    Column("Paid for its place"),
)
WAYS = (
    Column("What to do"),
    Column("Leaves, a kilo fresh", Kind.MONEY),
    Column("Leaves, a pound fresh", Kind.MONEY),
    Column("Leaves, all of it", Kind.MONEY),
)
FRESH_PRICES = (
    Column("Sold fresh at, a kilo", Kind.MONEY),
    Column("a pound", Kind.MONEY),
    Column("Same as dried at, a kilo", Kind.MONEY),
    Column("an ounce", Kind.MONEY),
)
FULL = (
    "A full shelf: another day for these blocks is a day that a fresh block does not stand there. "
    "Room is not charged on top, since its rate is the same for both."
)
ZERO = Fraction(0)
FREE = "Free places: standing there costs nothing more, so any pick that pays its work is gained."


def flush_report(case: FlushCase, kept: Sequence[FlushKept], made: Made, *, strain: str) -> Report:
    return Report(
        title="Did the second flush pay for its shelf?",
        subtitle=f"{strain}; {'the shelf is full' if case.shelf_is_full else 'places are free'}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(
            Fact("Keep a block from", case.break_even_mg, Kind.MASS),
            Fact("Expected of it", case.flush_mg, Kind.MASS),
            Fact("Brings, a block", round(case.brings), Kind.MONEY),
            Fact("Needed, a block", round(case.needed), Kind.MONEY),
        ),
        tables=(_flush_steps(case), _kept(case, kept)),
    )


def flush_words(case: FlushCase) -> str:
    """Say the verdict in one sentence."""
    weight = show_cell(Column("", Kind.MASS), case.break_even_mg)
    expected = show_cell(Column("", Kind.MASS), case.flush_mg)
    verdict = "Keep them" if case.pays else "Bin them after the first flush"
    return (
        f"{verdict}: keeping pays from {weight} kg a block within {case.wait_days} days; "
        f"{expected} kg is expected."
    )


def _flush_steps(case: FlushCase) -> Table:
    rows: list[Row] = [
        (
            "A kilo picked leaves",
            f"{_money(case.kilo_money)} × {_share(case.sold_ppm)} - {_money(case.handling_money)}",
            round(case.picked_kilo),
        ),
        (
            "The flush brings, a block",
            f"{_kg(case.flush_mg)} × {_money(round(case.picked_kilo))}",
            round(case.brings),
        ),
        (
            "A fresh block leaves until its first pick",
            f"{_share(MILLION - case.lost_ppm)} × {_kg(case.fresh_mg)} × "
            f"{_money(round(case.picked_kilo))} - {_money(case.block_money)}",
            round(case.fresh_earns),
        ),
        (
            "That is, a day",
            f"÷ {case.stand_days} days, nothing if below nothing",
            round(case.a_day),
        ),
        (
            "Needed of the flush, a block",
            f"{case.wait_days} days × {_money(round(case.a_day))}"
            if case.shelf_is_full
            else "places are free",
            round(case.needed),
        ),
    ]
    note = FULL if case.shelf_is_full else FREE
    return Table("The arithmetic", STEPS, tuple(rows), note=note)


def _kept(case: FlushCase, kept: Sequence[FlushKept]) -> Table:
    rows: list[Row] = []
    for one in kept:
        day_mg = case.a_day * MILLION / case.picked_kilo if case.shelf_is_full else 0
        needed_mg = round(day_mg * one.days)
        gave: tuple[Cell, ...] = (one.first_mg, one.second_mg, one.per_block_mg, one.days)
        paid = one.second_mg > 0 and one.per_block_mg >= needed_mg
        rows.append((one.code, one.blocks, *gave, needed_mg, "yes" if paid else "no"))
    note = (
        "The newest finished lots that stood on after their first pick, held against the same "
        "numbers; blocks kept are those binned at the end."
    )
    return Table("What was kept, and whether it paid", KEPT, tuple(rows), note=note)


# --- dry it, discount it or bin it -----------------------------------------------------------


def drying_report(
    case: DryingCase, stock_mg: tuple[int, int], made: Made, *, species: str
) -> Report:
    like = case.dried_kilo_like(case.discounted)
    on_hand_mg, sold_mg = stock_mg
    weeks = f"{8 * on_hand_mg / sold_mg:.0f} weeks at that rate" if sold_mg else "none sold"
    return Report(
        title="Dry it, discount it or bin it?",
        subtitle=f"{species}, {_kg(case.mass_mg)} left over",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        currency=made.currency,
        facts=(
            Fact("Leaves most", case.best),
            Fact("Drying is as good as the discount at, a dried kilo", round(like), Kind.MONEY),
            Fact("The same, an ounce", an_ounce(like), Kind.MONEY),
            Fact(
                "Better than the bin from, an ounce",
                an_ounce(case.dried_kilo_like(ZERO)),
                Kind.MONEY,
            ),
            Fact("Dried on hand", on_hand_mg, Kind.MASS),
            Fact("Dried sold in eight weeks", f"{_kg(sold_mg)}: {weeks}"),
        ),
        drawings=(bars(_way_bars(case), title=f"What a kilo fresh leaves, {made.currency}"),),
        tables=(_ways(case), _drying_steps(case), _break_evens(case)),
        cautions=(
            "Drying at usual settings keeps, it does not kill germs: record temperature and time, "
            "and say on the label to cook before eating.",
        ),
    )


def drying_words(case: DryingCase, currency: str) -> str:
    like = case.dried_kilo_like(case.discounted)
    return (
        f"Best of the three: {case.best}. Drying is as good as the discount at "
        f"{_money(an_ounce(like), currency)} an ounce dried, "
        f"{_money(round(like), currency)} a kilo."
    )


def _leaves(case: DryingCase) -> list[tuple[str, int]]:
    return [("Discount it", round(case.discounted)), ("Dry it", round(case.dried)), ("Bin it", 0)]


def _way_bars(case: DryingCase) -> list[Bar]:
    return [Bar(words, money, _money(money)) for words, money in _leaves(case)]


def _ways(case: DryingCase) -> Table:
    whole = {"Discount it": case.discounted, "Dry it": case.dried, "Bin it": ZERO}
    rows: list[Row] = [
        (words, money, a_pound(whole[words]), round(whole[words] * case.mass_mg / MILLION))
        for words, money in _leaves(case)
    ]
    return Table("What each leaves", WAYS, tuple(rows))


def _drying_steps(case: DryingCase) -> Table:
    ratio = to_places(float(case.ratio), 2)
    rows: list[Row] = [
        (
            "Discounted, a kilo",
            f"{_money(case.discount_money)} × {_share(case.fresh_sold_ppm)}",
            round(case.discounted),
        ),
        (
            "Dried, a kilo fresh",
            f"({_money(case.dried_money)} × {_share(case.dried_sold_ppm)} - "
            f"{_money(case.pouch_money)}) ÷ {ratio} - {_money(case.drying_money)}",
            round(case.dried),
        ),
        (
            "Dried kilo that equals the discount",
            f"(({_money(round(case.discounted))} + {_money(case.drying_money)}) × {ratio} + "
            f"{_money(case.pouch_money)}) ÷ {_share(case.dried_sold_ppm)}",
            round(case.dried_kilo_like(case.discounted)),
        ),
    ]
    note = (
        "What growing and picking cost is spent either way, so it is left out of the choice. "
        "“Likely to be sold” is your own guess: dried stock that does not move is worth nothing."
    )
    return Table("The arithmetic", STEPS, tuple(rows), note=note)


def _break_evens(case: DryingCase) -> Table:
    """Whole prices a pound around the discount, as people say them at the stall."""
    middle = max(round(case.discount_money * POUND_MG / MILLION / 10_000), 2)
    pounds = [coin * 10_000 for coin in range(max(middle - 3, 1), middle + 4)]
    rows: list[Row] = []
    for pound in pounds:
        kilo = pound * MILLION / POUND_MG
        like = case.dried_kilo_like(kilo * case.fresh_sold_ppm / MILLION)
        rows.append((round(kilo), pound, round(like), an_ounce(like)))
    return Table("Break-even prices", FRESH_PRICES, tuple(rows))


def _money(amount: int, currency: str = "") -> str:
    return show_fact(Fact("", amount, Kind.MONEY), currency)


def _kg(mass_mg: int) -> str:
    return f"{show_cell(Column('', Kind.MASS), mass_mg)} kg"


def _share(ppm: int) -> str:
    return f"{show_cell(Column('', Kind.RATIO), ppm)} %"
