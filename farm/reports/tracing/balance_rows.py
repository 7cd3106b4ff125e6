"""Balances of lots as rows: what came in, and where all of it is, in weight or in pieces."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from farm.habits import to_places
from farm.queries.tracing.balance import PARTS, Balance
from farm.reports.rows import Cell, Column, Kind, Row, Table
from farm.units import show_mass

NOTE = (
    "Made, and counted up at a sale, is what is still here, was used for other lots, was sold "
    "less what came back, dried away, was lost, and is unexplained. Shares add up to 100 %."
)
LABELS = ("Still here", "Used", "Sold", "Water", "Lost", "Unexplained")


def balance_tables(balances: Iterable[Balance]) -> tuple[Table, ...]:
    """Weighed and counted lots apart, each in its own unit; a kind without lots is left out."""
    rows = list(balances)
    weighed = [balance for balance in rows if not balance.counted]
    counted = [balance for balance in rows if balance.counted]
    tables = []
    if weighed:
        tables.append(_table("Balance of each weighed lot", weighed, Kind.MASS))
    if counted:
        tables.append(_table("Balance of each counted lot, in pieces", counted, Kind.COUNT))
    return tuple(tables)


def _table(title: str, balances: Sequence[Balance], kind: Kind) -> Table:
    """Leave out the columns that are nothing for every lot."""
    numbers = [_numbers(balance) for balance in balances]
    used = [at for at, name in enumerate(NAMES) if name == "Made" or any(n[at] for n in numbers)]
    columns = (
        Column("Stage"),
        Column("Lot"),
        Column("What"),
        *(Column(NAMES[at], kind) for at in used),
        Column("Shares"),
        Column("Lost to, and what is not known"),
    )
    rows: list[Row] = [
        (
            balance.stage.label,
            balance.code,
            balance.name,
            *(number[at] for at in used),
            shares_words(balance),
            _remarks(balance),
        )
        for balance, number in zip(balances, numbers, strict=True)
    ]
    return Table(title, columns, tuple(rows), note=NOTE)


def _remarks(balance: Balance) -> str:
    """“0.400 kg old; unexplained: missing at weighing again”."""
    lost = [lost_words(balance)] if balance.lost else []
    return "; ".join((*lost, *balance.not_known))


NAMES = ("Made", "Counted up", *LABELS)


def _numbers(balance: Balance) -> tuple[Cell, ...]:
    return (balance.made, balance.counted_up, *balance.parts)


def shares_words(balance: Balance) -> str:
    """“still here 40.1 % · sold 52.8 % · lost 7.1 %”: they add up to 100 %."""
    pairs = zip(PARTS, balance.parts, balance.shares_tenths, strict=True)
    said = [f"{name} {Decimal(tenths) / 10} %" for name, part, tenths in pairs if part]
    return " · ".join(said)


def accounted_words(balance: Balance) -> str:
    """“99.49 % (9.80 of 9.85 kg)”; of what was made."""
    if balance.accounted_ppm is None:
        return ""
    part, whole = amount_words(balance, balance.accounted), amount_words(balance, balance.made)
    return f"{percent_words(balance.accounted_ppm)} ({part} of {whole})"


def percent_words(share_ppm: int) -> str:
    """To a hundredth, half to even: 994,924 is “99.49 %”."""
    return f"{to_places(share_ppm / 10_000, 2)} %"


def lost_words(balance: Balance) -> str:
    return ", ".join(f"{amount_words(balance, quantity)} {why}" for why, quantity in balance.lost)


def amount_words(balance: Balance, quantity: int) -> str:
    return str(quantity) if balance.counted else show_mass(quantity, "kg")
