"""The page of each kind that can be recorded, in the order of the work.

Each subject declares its own (`farm/pages/<subject>/actions.py`), and `all_actions` hands them in,
so that nothing that only asks for them imports a subject.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import KW_ONLY, dataclass

from farm.kinds import GROUPS, KINDS
from farm.kinds.kind import Kind
from farm.models import Farm, Person
from farm.pages.access import Right, may
from farm.pages.recording_form import DoingForm
from ledger.models import Entry, Line

# What an entry with these lines recorded, in words.
ReadBack = Callable[[Entry, Sequence[Line], Farm], str]


@dataclass(frozen=True)
class Deed:
    """The page of the kind that a form records.

    ``field``: where a lot's code is prefilled, if any. ``rights``: of which one is needed.
    ``names_customers``: a phone keeps its form for a short time only. ``leads_to``: the page of
    its entry. ``read_back``: says what was recorded, where the amounts of its lines do not.
    """

    form: type[DoingForm]
    field: str = ""
    _: KW_ONLY
    names_customers: bool = False
    rights: tuple[Right, ...] = (Right.RECORD,)
    template: str = "farm/record/form.html"
    leads_to: str = "entry"
    read_back: ReadBack | None = None

    @property
    def kind(self) -> Kind:
        return self.form.kind

    @property
    def slug(self) -> str:
        return self.kind.slug

    @property
    def title(self) -> str:
        return self.kind.words

    @property
    def caution(self) -> str:
        return self.kind.caution


DEEDS: list[Deed] = []
BY_SLUG: dict[str, Deed] = {}


def hand_in(deeds: Iterable[Deed]) -> list[Deed]:
    """Take the pages of all subjects, and keep them in the order of their kinds."""
    DEEDS[:] = sorted(deeds, key=lambda deed: KINDS.index(deed.kind))
    BY_SLUG.clear()
    BY_SLUG.update((deed.slug, deed) for deed in DEEDS)
    return DEEDS


def may_do(person: Person, deed: Deed) -> bool:
    return any(may(person, right) for right in deed.rights)


def deeds_by_group(person: Person) -> list[tuple[str, list[Deed]]]:
    """Actions open to somebody, without the groups in which they have none."""
    open_to = [deed for deed in DEEDS if may_do(person, deed)]
    groups = ((group, [deed for deed in open_to if deed.kind.group == group]) for group in GROUPS)
    return [(group, deeds) for group, deeds in groups if deeds]


def deeds_for(stage: int, person: Person, *, held: bool = False) -> list[Deed]:
    """Actions that fit a lot of a stage and are open to somebody, in the order of the work.

    ``held``: of those alone that the book takes of a lot on hold.
    """
    fitting = [deed for deed in DEEDS if stage in deed.kind.stages and may_do(person, deed)]
    return [deed for deed in fitting if not held or deed.kind.while_held]
