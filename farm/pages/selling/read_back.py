"""What was recorded of a market day: what was sold of it."""

from collections.abc import Sequence

from farm.models import Farm
from farm.pages.recording.read_back import amounts
from ledger.models import Entry, Line, Role


def settling_words(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    sold = [line for line in lines if line.role == Role.SOLD]
    return f"sold {amounts(entry, sold, farm)}" if sold else "nothing sold"
