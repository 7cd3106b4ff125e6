"""What one kind of entry is: its words, whom it is offered, how long it takes, what it says."""

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Any, NamedTuple, Self

from farm.beliefs import PRACTICE
from farm.kinds.particulars import Particulars


class Step(NamedTuple):
    """A business step of the standard of events, and the disposition of the goods after it."""

    biz_step: str
    disposition: str = ""

    def words(self) -> dict[str, Any]:
        words = {"bizStep": self.biz_step}
        return words | ({"disposition": self.disposition} if self.disposition else {})


class Usual(NamedTuple):
    """The usual minutes each time, and seconds per bag, block, pack or kilogram."""

    minutes: int
    unit_seconds: int
    source: str = PRACTICE


MADE = Step("creating_class_instance", "active")
SEEN = Step("other")
COUNTED = Step("cycle_counting")


@dataclass(frozen=True, eq=False, repr=False)
class Kind(str):
    """The kind of an entry; as a text it is the name that stands in the book.

    ``words``: what its page is called; ``done`` begins its message; ``called``: how a list calls
    such an entry, where its name is not plain; ``named``: what it did to a lot that it only
    names, where that is not ``done``. ``then``: what comes next. ``group``: where the index
    offers it; ``stages``: lots of these offer it; ``while_held``: the book takes it of a lot on
    hold. ``caused``: its reason is its cause, elsewhere a note. ``corrects``: of lines in
    which role the number can be stated anew. ``particulars``: what its entry
    says beside its lines. ``usual``: its usual time; a kind without one takes no time.
    ``entered_as``: the kind of its entry, where that is another's. ``made``, ``seen``: its steps
    in events, where it makes a lot and where it only looks at one.
    """

    name: str
    _: KW_ONLY
    words: str = ""
    done: str = ""
    called: str = ""
    named: str = ""
    group: str = ""
    stages: Sequence[int] = ()
    caution: str = ""
    while_held: bool = False
    then: str = ""
    caused: bool = False
    corrects: Sequence[str] = ()
    particulars: type[Particulars] = Particulars
    usual: Usual | None = None
    entered_as: "Kind | None" = None
    made: Step = MADE
    seen: Step = SEEN

    def __new__(cls, name: str, **_facts: object) -> Self:
        return super().__new__(cls, name)

    @property
    def slug(self) -> str:
        """Its name in an address."""
        return self.name.replace(" ", "-")

    @property
    def of_entry(self) -> "Kind":
        """The kind of the entry that it becomes."""
        return self.entered_as or self

    @property
    def takes_time(self) -> bool:
        return self.usual is not None
