"""How many random histories are tried: some for each change, FARM_HISTORIES for many."""

import os


def seeds(usual: int) -> range:
    """Return the seeds to try; FARM_HISTORIES=500 for a long night."""
    return range(int(os.environ.get("FARM_HISTORIES", usual)))
