"""Canonical rows as CSV, one number a line, for any program that adds up."""

import csv
import io
from collections.abc import Iterable
from decimal import Decimal

from farm.queries.months.canonical import KeptRow

HEADS = ("belongs to", "table", "row", "what", "amount", "unit")
# Decimals of a kilogram and of the currency unit; pieces are whole.
UNITS = {"_mg": ("kg", 6), "_money": ("currency", 4), "_pieces": ("pieces", 0)}


def csv_bytes(rows: Iterable[KeptRow]) -> bytes:
    """Write RFC 4180 lines in UTF-8; exact decimals: 2,747 ten-thousandths are 0.2747."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(HEADS)
    for row in rows:
        named = "; ".join(f"{name}: {word}" for name, word in row.words.items() if word)
        for name, number in row.numbers.items():
            ending = next(end for end in UNITS if name.endswith(end))
            unit, places = UNITS[ending]
            what = name.removesuffix(ending).replace("_", " ")
            amount = f"{Decimal(number).scaleb(-places):f}"
            writer.writerow((row.month, row.table, named, what, amount, unit))
    return out.getvalue().encode()
