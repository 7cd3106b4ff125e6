"""What keeps lots from being used: put on hold, released."""

from farm.kinds.kind import Kind

PUT_RIGHT = "Put right"

HOLD = Kind(
    "hold",
    words="Put on hold",
    done="Put on hold",
    called="put on hold",
    group=PUT_RIGHT,
    caused=True,
    then="release it once it is known to be good, or throw it away",
)
RELEASE = Kind(
    "release",
    words="Release from hold",
    done="Released",
    called="release from hold",
    group=PUT_RIGHT,
    caused=True,
)

KINDS = (HOLD, RELEASE)
