"""How many random histories and drawn forms are tried: a quarter each time, all in ``.ci/run``."""

import os


def seeds(usual: int) -> range:
    """Return the seeds to try; FARM_HISTORIES=all for the usual number, 500 for a long night."""
    said = os.environ.get("FARM_HISTORIES", "")
    if said == "all":
        return range(usual)
    return range(int(said) if said else -(-usual // 4))
