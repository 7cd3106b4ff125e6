"""The first hour of a new farm: from its name to the first pick, read from its rows."""

from dataclasses import dataclass

from django.db.models import Max, Min, Model

from farm.kinds.growing import (
    BUY_CULTURE,
    FILL_BLOCKS,
    INOCULATE_BLOCKS,
    INOCULATE_GRAIN,
    MOVE_TO_FRUITING,
    PICK,
    PREPARE_GRAIN,
    RECEIVE_SUPPLIES,
    STERILISER_RUN,
)
from farm.models import Rate, Recipe, Shelf, Steriliser, Strain, Supplier
from ledger.models import Entry


@dataclass(frozen=True)
class Step:
    """``page`` and ``about``: the address where it is done; ``why``: one line of help."""

    title: str
    why: str
    is_done: bool
    page: str
    about: tuple[str, ...] = ()


# Title, help, what must be there, the address.
SET_UP: tuple[tuple[str, str, type[Model], str, tuple[str, ...]], ...] = (
    ("Say what you grow", "Species and strains, with days and yields to start from.",
     Strain, "take-over", ()),
    ("Say what you fill", "A recipe for grain and one for blocks; each figure can be changed.",
     Recipe, "take-over", ()),
    ("Name your rooms", "A lot stands on a shelf, so that it is found again.",
     Shelf, "take-over", ()),
    ("State what hours and energy cost", "Without a rate, labour would be free and the kilo "
     "looks cheap.", Rate, "take-over", ()),
    ("Enter your steriliser", "With the maker's limit from its own plate.",
     Steriliser, "lookup-add", ("sterilisers",)),
    ("Name a supplier", "One step back: whom a sack came from.",
     Supplier, "lookup-add", ("suppliers",)),
)  # fmt: skip
# Title, help, kind of entry, the action's slug; in the order of the work.
WORK = (
    ("Receive supplies", "Sacks become lots: sawdust, bran, grain, bags.", RECEIVE_SUPPLIES,
     RECEIVE_SUPPLIES.slug),
    ("Buy a culture", "Or transfer one you have.", BUY_CULTURE, BUY_CULTURE.slug),
    ("Prepare grain", "So many jars or bags by a recipe.", PREPARE_GRAIN, PREPARE_GRAIN.slug),
    ("Sterilise the grain", "What was in, how hot, how long.", STERILISER_RUN,
     STERILISER_RUN.slug),
    ("Inoculate grain", "From here on each block knows its grain.", INOCULATE_GRAIN,
     INOCULATE_GRAIN.slug),
    ("Fill blocks", "So many bags by a recipe.", FILL_BLOCKS, FILL_BLOCKS.slug),
    ("Sterilise the blocks", "In a run of their own.", "steriliser run of blocks",
     STERILISER_RUN.slug),
    ("Inoculate blocks", "Which spawn went into which bags.", INOCULATE_BLOCKS,
     INOCULATE_BLOCKS.slug),
    ("Move to fruiting", "When they are white and firm.", MOVE_TO_FRUITING,
     MOVE_TO_FRUITING.slug),
    ("Pick", "Weigh it. The first kilo has a cost.", PICK, PICK.slug),
)  # fmt: skip


# Whoever has written so many entries knows the way.
FIRST_ENTRIES = 100


def first_hour() -> list[Step]:
    """List every step with whether it is done; one query a look-up and one for the work."""
    set_up = [
        Step(title, why, model._default_manager.exists(), page, about)
        for title, why, model, page, about in SET_UP
    ]
    return [*set_up, *_work()]


def next_step(after: Entry) -> Step | None:
    """Say what follows an entry while the first hour lasts; one query, none once it is past."""
    if after.seq > FIRST_ENTRIES:
        return None
    work = _work()
    picked = work[-1].is_done
    return None if picked else next(step for step in work if not step.is_done)


def _work() -> list[Step]:
    """The steps of the work; one query."""
    spans = list(Entry.objects.order_by().values_list("kind").annotate(Min("seq"), Max("seq")))
    first = {kind: seq for kind, seq, _ in spans}
    last = {kind: seq for kind, _, seq in spans}
    done = set(first)
    if FILL_BLOCKS in first and last.get(STERILISER_RUN, 0) > first[FILL_BLOCKS]:
        done.add("steriliser run of blocks")
    return [
        Step(title, why, kind in done, "record-action", (slug,)) for title, why, kind, slug in WORK
    ]


def is_past() -> bool:
    """Say whether the farm has picked: the first hour is over."""
    return Entry.objects.filter(kind=PICK).exists()
