"""Everything that can happen on the farm, each kind declared once, in the order of the work."""

from farm.kinds import growing, recording, selling, starting, store, tracing
from farm.kinds.kind import Kind, Usual

SUBJECTS = (growing, store, selling, tracing, recording, starting)
KINDS: tuple[Kind, ...] = tuple(kind for subject in SUBJECTS for kind in subject.KINDS)
BY_NAME = {kind.name: kind for kind in KINDS}
BY_SLUG = {kind.slug: kind for kind in KINDS}
GROUPS = tuple(dict.fromkeys(kind.group for kind in KINDS if kind.group))
# What is charged by its usual time where nobody types minutes; a kind that is entered as another
# is charged as that.
TIMED: dict[str, Usual] = {
    kind.name: kind.usual for kind in KINDS if kind.usual and not kind.entered_as
}


def kind_named(name: str) -> Kind:
    """The kind of this name; one that is no longer declared has no more than its name."""
    return BY_NAME.get(name) or Kind(name)
