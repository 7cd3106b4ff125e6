"""What was recorded while growing, where its amounts do not say it: a check, a steriliser's run."""

from collections.abc import Sequence

from farm.kinds.growing import Checked, Run
from farm.kinds.particulars import Unit
from farm.models import Farm
from farm.pages.recording.read_back import made_lines, pieces
from farm.templatetags.farm_format import amount_of, reading
from ledger.models import Entry, Line


def check_words(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    """Say what was looked at and lost, and where what passed and what was left unchecked is."""
    said, lot = Checked.read(entry.particulars), lines[0].lot
    checked, lost = said.checked, said.lost
    words = f"{pieces(checked, lot)} of lot {lot.code}, {said.colonised_percent} % grown through"
    cause = f": {entry.reason}" if entry.reason else ""
    words += f"; {lost} of {pieces(checked, lot)} lost{cause}" if lost else "; none lost"
    apart = [line.lot for line in made_lines(lines)]
    if apart:
        rest = amount_of(lot.quantity, lot, farm)
        return f"{words}; {checked - lost} passed and are lot {apart[0].code} now, {rest} stay"
    return f"{words}; {amount_of(lot.quantity, lot, farm)} left" if lost else words


def run_words(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    said = Run.read(entry.particulars)
    measured = ((Unit.PA, said.gauge_pa), (Unit.MILLI_C, said.temperature_milli_c))
    read = [reading(unit, value, farm) for unit, value in measured if value is not None]
    load = ", ".join(
        f"{amount_of(line.lot.quantity, line.lot, farm)} of lot {line.lot.code}" for line in lines
    )
    return (
        f"{load}; {said.minutes_at_temperature} minutes at {', '.join(read)} in {said.steriliser}"
    )
