"""The way on from a refusal, or from a list with nothing in it: one button, or whom to ask."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar
from urllib.parse import urlencode

from django import forms
from django.db.models import Model
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from farm.kinds.growing import (
    BUY_CULTURE,
    FILL_BLOCKS,
    INOCULATE_BLOCKS,
    INOCULATE_GRAIN,
    KEEP_SPENT_BLOCKS,
    PICK,
    PREPARE_GRAIN,
    RECEIVE_SUPPLIES,
)
from farm.kinds.selling import LOAD_STALL, SELL
from farm.kinds.store import DRY, PACK
from farm.models import Farm, Person, SaleLine, Stage, StallDay
from farm.pages.access import Right, may
from farm.pages.deeds import BY_SLUG, Deed
from farm.pages.fields import NONE, LotField, LotsField, RowField
from farm.pages.recording_form import DoingForm
from farm.refusals import MendedByRecording, MendedInDetails
from ledger.errors import Refused

# What makes lots of a stage, and rows that no list under Farm details holds.
MADE_BY = {
    Stage.SUPPLY: RECEIVE_SUPPLIES, Stage.CULTURE: BUY_CULTURE, Stage.GRAIN: PREPARE_GRAIN,
    Stage.SPAWN: INOCULATE_GRAIN, Stage.BAGS: FILL_BLOCKS, Stage.BLOCKS: INOCULATE_BLOCKS,
    Stage.CROP: PICK, Stage.DRIED: DRY, Stage.PACKS: PACK, Stage.SPENT: KEEP_SPENT_BLOCKS,
}  # fmt: skip
ROWS_MADE_BY: dict[type[Model], tuple[str, str]] = {
    StallDay: ("load", LOAD_STALL.slug),
    SaleLine: ("sale", SELL.slug),
}
# What a farm has first of all.
FIRST_STAGES = (Stage.SUPPLY, Stage.CULTURE)
# In the address of a form under Farm details: where it leads once its row is added.
THEN = "then"
# The list under Farm details that holds the rows of a model, handed in from above: the word for it
# in an address, and what one row is called.
LISTED: dict[type[Model], tuple[str, str]] = {}


@dataclass(frozen=True)
class WayOn:
    """``title`` and ``address``: a button; ``words``: what it is for, where nothing else says it.

    ``rights``: of which its page asks one; none: whoever is shown the button may follow it.
    """

    title: str
    address: str
    rights: tuple[Right, ...] = ()
    words: str = ""

    def is_open_to(self, person: Person) -> bool:
        return not self.rights or any(may(person, right) for right in self.rights)

    @property
    def whom(self) -> str:
        return "the owner" if Right.CHANGE_FARM in self.rights else "whoever may do it"

    def as_kept(self) -> list[str]:
        """Write it down beside a form that waits."""
        return [self.title, self.address, *(right.name for right in self.rights)]


@dataclass(frozen=True)
class ShownWay:
    """A way as one person is shown it: where they may not go, whom to ask."""

    way: WayOn
    may_go: bool


def shown(ways: Sequence[WayOn], person: Person) -> list[ShownWay]:
    return [ShownWay(way, way.is_open_to(person)) for way in ways]


def kept_way(kept: Sequence[str], words: str = "") -> WayOn:
    """Read a way that was written down."""
    title, address, *rights = kept
    return WayOn(title, address, tuple(Right[name] for name in rights), words)


# --- out of a refusal ------------------------------------------------------------------------


def ways_out(refusal: Exception | None, back: str = "") -> list[WayOn]:
    """Lead to what mends a refusal, else to the lot that it is about; there may be nothing.

    ``back``: where a form under Farm details leads once it is saved.
    """
    elsewhere = way_elsewhere(refusal, back)
    if elsewhere:
        return [elsewhere]
    lots = refusal.lots if isinstance(refusal, Refused) else ()
    return [WayOn(f"Look at lot {code}", reverse("lot", args=[code])) for code in lots[:1]]


def refused_words(refusal: Exception, person: Person, *, back: str) -> str:
    """Word a refusal for a message, with the way to what mends it behind it."""
    way = way_elsewhere(refusal, back)
    return _hint(str(refusal), [way] if way else [], person)


def way_elsewhere(refusal: Exception | None, back: str = "") -> WayOn | None:
    """Lead to another form, where that is what mends a refusal; not to the one at hand."""
    if isinstance(refusal, MendedByRecording):
        return _by_recording(refusal)
    return to_details(refusal.of, back) if isinstance(refusal, MendedInDetails) else None


def _by_recording(refusal: MendedByRecording) -> WayOn:
    deed = BY_SLUG[refusal.kind.slug]
    if refusal.row is not None:
        name = str(refusal.row._meta.model_name)
        return to_record(deed, f": {refusal.row}", **{name: str(refusal.row.pk)})
    return to_record(deed, f": lot {refusal.lots[0]}", **{deed.field: refusal.lots[0]})


def to_record(deed: Deed, about: str = "", **filled_in: str) -> WayOn:
    """Lead to an action's form with some of its fields filled in."""
    address = reverse("record-action", args=[deed.slug])
    query = f"?{urlencode(filled_in)}" if filled_in else ""
    return WayOn(f"{deed.title}{about}", f"{address}{query}", deed.rights)


def to_details(of: Model | type[Model], back: str = "") -> WayOn | None:
    """Lead to the form of a row under Farm details, or to the one that adds a row of a model."""
    slug, noun = LISTED.get(of if isinstance(of, type) else type(of), ("", ""))
    if isinstance(of, Farm):
        title, address = "Change the farm", reverse("farm")
    elif not slug:
        return None
    elif isinstance(of, Model):
        title, address = f"Change {of}", reverse("lookup-change", args=[slug, of.pk])
    else:
        title, address = f"Add {noun}", reverse("lookup-add", args=[slug])
    query = f"?{urlencode({THEN: back})}" if back else ""
    return WayOn(title, f"{address}{query}", (Right.CHANGE_FARM,))


# --- out of an empty list --------------------------------------------------------------------


class FilledElsewhere(forms.Field):
    """A field that knows itself whether its list is empty, and the page that fills it."""

    none: ClassVar[str]

    def has_some(self) -> bool:
        raise NotImplementedError

    def filled_by(self) -> WayOn:
        raise NotImplementedError


def lead_on(form: forms.BaseForm, person: Person, *, back: str) -> None:
    """Say beside each list with nothing in it what brings something in, or whom to ask.

    ``back``: the page of the form, to which what is added under Farm details leads back.
    """
    for field in form.fields.values():
        hint = _where_empty(form, field, person, back=back)
        if hint:
            field.help_text = hint
    if isinstance(form, DoingForm):
        for group, stages in form.group_stages.items():
            if not form.groups[group]:
                form.group_hints[group] = _hint(f"{NONE}.", _makers(stages, back), person)


def _where_empty(form: forms.BaseForm, field: forms.Field, person: Person, *, back: str) -> str:
    """Word the hint of a list with nothing in it; blank for any other field."""
    if isinstance(field, FilledElsewhere):
        # Asked of an open form alone: a bound one names its row.
        shut = form.is_bound or field.has_some()
        return "" if shut else _hint(field.none, [field.filled_by()], person)
    if isinstance(field, forms.ModelChoiceField) and field.queryset is not None:
        return _no_row_yet(field.queryset.model, person, back) if _has_no_rows(field) else ""
    if not isinstance(field, LotField | LotsField) or not field.required or field.lots:
        return ""
    ways = _makers(field.stages or FIRST_STAGES, back) if field.none == NONE else []
    return _hint(f"{field.none}.", ways, person)


def _has_no_rows(field: forms.ModelChoiceField) -> bool:  # type: ignore[type-arg]
    """Say whether there is no row to choose; a list that may stay blank counts once it was read."""
    if isinstance(field, RowField):
        return not field.rows
    return field.required and field.queryset is not None and not field.queryset.exists()


def _no_row_yet(model: type[Model], person: Person, back: str) -> str:
    noun, slug = ROWS_MADE_BY.get(model, ("", ""))
    if slug:
        return _hint(f"No {noun} yet.", [to_record(BY_SLUG[slug])], person)
    way = to_details(model, back)
    if way is None:
        return "None yet."
    noun = LISTED[model][1].partition(" ")[2]
    return _hint(f"No {noun} yet.", [way], person)


def _makers(stages: Sequence[int], back: str) -> list[WayOn]:
    """Lead to what makes lots of these stages, but not to the form at hand."""
    ways = [to_record(BY_SLUG[MADE_BY[Stage(stage)].slug]) for stage in stages]
    return [way for way in ways if way.address != back]


def _hint(words: str, ways: Sequence[WayOn], person: Person) -> str:
    """Word a hint with its buttons; who may follow none is told whom to ask."""
    open_ways = [way for way in ways if way.is_open_to(person)]
    if ways and not open_ways:
        return f"{words} Ask {ways[0].whom}: {ways[0].title}."
    buttons = format_html_join(
        "", ' <a class="button" href="{}">{}</a>', ((way.address, way.title) for way in open_ways)
    )
    return format_html("{}{}", words, buttons)
