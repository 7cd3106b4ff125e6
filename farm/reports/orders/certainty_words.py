"""How sure an order is, in words: what is there for it, and what must still be picked."""

from farm.queries.orders.promises import Outlook, Promise
from farm.units import show_both


def sure_words(outlook: Outlook, weight_unit: str) -> list[str]:
    """One sentence for each line that is still short; nothing for days that are over."""
    return [f"{line}: {_words(found, weight_unit)}" for line, found in outlook.promises]


def _words(found: Promise, weight_unit: str) -> str:
    """“all of it is there”, or how much must be picked and how often lots gave that in time."""
    if not found.of_picks_mg:
        return "all of it is there."
    if found.free_mg < 0:
        return f"{show_both(-found.free_mg, weight_unit)} too much is promised."
    of_picks, coming = (show_both(mg, weight_unit) for mg in (found.of_picks_mg, found.coming_mg))
    said = f"{of_picks} must still be picked, {coming} is planned."
    sureness = found.sureness
    if sureness is None or not sureness.of:
        return f"{said} No finished lot says how sure that is."
    share = -(-sureness.share_ppm // 10_000)
    return (
        f"{said} {sureness.kept} of {sureness.of} lots gave the needed {share} % of plan in time."
    )
