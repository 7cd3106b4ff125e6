"""What was recorded in the store, where its amounts do not say it: what was weighed."""

from collections.abc import Sequence

from farm.kinds.store import Weighing
from farm.models import Farm
from farm.pages.recording.read_back import mass, pieces
from farm.queries.store.check_weights import weighings
from ledger.models import Entry, Line, Role


def weighing_words(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    words = (
        f"lot {lines[0].lot.code} weighs {mass(Weighing.read(entry.particulars).weight_mg, farm)}"
    )
    for role, what in ((Role.SHRUNK, "water gone"), (Role.LOST, "lost")):
        gone = -sum(line.quantity for line in lines if line.role == role)
        words += f"; {mass(gone, farm)} {what}" if gone else ""
    return words


def weights_words(entry: Entry, lines: Sequence[Line], farm: Farm) -> str:
    lot = lines[0].lot
    judged = next(one for one in weighings(farm.weight_unit, lot) if one.entry == entry).judged
    mean, declared = (mass(mg, farm) for mg in (judged.mean_mg, judged.declared_mg))
    return (
        f"{pieces(len(judged.nets_mg), lot)} of lot {lot.code}; they hold {mean} on average, "
        f"and declare {declared}"
    )
