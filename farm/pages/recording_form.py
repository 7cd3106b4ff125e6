"""What every recording form has: when, how long, a note, and a number of its own.

A form declares its own fields and `run`. One that must know something first (the recipe, how
many) names a `first` form, which the page asks by GET; its answers are `given`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, ClassVar
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.signing import signed
from farm.kinds.kind import Kind
from farm.models import Farm, LotCard, Person, SellingPlace
from farm.pages.addresses import number_named
from farm.pages.clock import ClockField
from farm.pages.fields import NONE, AmountField, MassField, lot_label, quantity_field
from farm.queries.keeping import is_past, keeps_until
from farm.queries.stock import all_lots
from ledger.models import Lot

# A phone's clock may run a little fast; anything later has not happened yet.
FAST_CLOCK = timedelta(minutes=10)
OWN = (("", "by who signs in"), ("own", "own hours"), ("paid", "paid hours"))
# In an address: the code of a lot of which everything is taken.
ALL_OF = "all_of"
REST = ("when", "minutes", "own", "reason", "initials", "pin")
QUESTIONS = {"sure": "Yes, that is right", "count_up": "Sell it all the same, and count up"}


@dataclass(frozen=True)
class DrawGroup:
    """Lots to draw from under one heading; each row is a lot's box, and its price's if any.

    ``folded``: seldom needed, so it is opened only on demand or where something is typed.
    ``hint``: what is said where there is no row.
    """

    title: str
    rows: list[list[forms.BoundField]]
    folded: bool
    hint: str = f"{NONE}."


class FarmForm(forms.Form):
    """A form whose fields know the farm; prefilled from the address where a name fits."""

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(data, initial=dict(initial or {}))
        self.farm = farm
        for field in self.fields.values():
            self.tell(field)

    def tell(self, field: forms.Field) -> None:
        field.error_messages["required"] = "This is needed."
        if hasattr(field, "use_farm"):
            field.use_farm(self.farm)

    def add(self, name: str, field: forms.Field) -> None:
        """Add a field that this very form needs (a lot on hand, a question)."""
        self.tell(field)
        self.fields[name] = field

    def ask(self, question: str, name: str = "sure") -> None:
        """Put a question above a box to tick; nothing is recorded until it is answered."""
        self.add_question(name)
        self.add_error(name, question)

    def add_question(self, name: str) -> None:
        self.fields[name] = forms.BooleanField(label=QUESTIONS[name], required=False)

    def take_refusals(self, other: "FarmForm") -> None:
        """Show what was refused of the same form in another, where it still has the field."""
        self.full_clean()
        for name, refusals in other.errors.as_data().items():
            if name in self.fields and name not in self.errors:
                self.add_error(name, refusals)


def initials_field() -> forms.CharField:
    """Who did it, at a tablet where somebody else is signed in."""
    return forms.CharField(
        label="Initials",
        max_length=4,
        required=False,
        help_text="Only if somebody else did it than who is signed in",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )


def pin_field() -> forms.CharField:
    return forms.CharField(
        label="Their PIN",
        max_length=8,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off", "inputmode": "numeric"}),
    )


class FirstForm(FarmForm):
    """What must be known before the rest can be asked."""

    def narrow(self, person: Person) -> None:
        """Offer only what this person may choose."""

    def narrow_for_phone(self) -> None:
        """Offer only what a phone keeps."""

    def narrow_rows(
        self, name: str, narrowed: Callable[[Person, Any], QuerySet[Any]], person: Person
    ) -> None:
        """Leave those rows of a field that `seen` gives to this person."""
        field = self.fields[name]
        assert isinstance(field, forms.ModelChoiceField)
        seen = narrowed(person, field.queryset)
        if seen is not field.queryset:
            field.queryset = seen
            self.tell(field)


class DoingForm(FarmForm):
    """One action's form. ``group_titles``: headings of the lists of lots to draw from."""

    first: ClassVar[type[FirstForm] | None] = None
    reason_label: ClassVar[str] = "Note"
    # What it records; nameless where it records many entries, or one of several kinds.
    kind: ClassVar[Kind] = Kind("")
    # A sale beyond what the book holds asks once, and then counts up.
    counts_up: ClassVar[bool] = False
    # Whether a script fills in what is drawn: on a kept page that fits any number.
    shares_out = False
    group_titles: ClassVar[Mapping[str, str]] = {}
    folded: ClassVar[tuple[str, ...]] = ()

    when = ClockField(label="When it was done")
    minutes = forms.IntegerField(
        label="Minutes it took",
        required=False,
        min_value=0,
        max_value=24 * 60,
        help_text="Blank: the standard time",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    own = forms.ChoiceField(label="Whose hours", choices=OWN, required=False)
    reason = forms.CharField(
        required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    initials = initials_field()
    pin = pin_field()
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        given: Mapping[str, Any] | None = None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        now = timezone.localtime().replace(second=0, microsecond=0)
        super().__init__(data, farm=farm, initial={"when": now, "uuid": uuid4(), **(initial or {})})
        self.person = person
        self.typed_by: Person | None = None
        self.given = dict(given or {})
        self.groups: dict[str, list[tuple[Lot, str]]] = {}
        # Of which stages the lots of a group are, and what is said where there are none.
        self.group_stages: dict[str, Sequence[int]] = {}
        self.group_hints: dict[str, str] = {}
        self.fields["reason"].label = self.reason_label
        if not self.kind.takes_time:
            del self.fields["minutes"], self.fields["own"]
        self.build()
        self.order_fields([*(name for name in self.fields if name not in REST), *REST])
        for question in set(self.data) & set(QUESTIONS):
            self.add_question(question)

    def build(self) -> None:
        """Add the fields that depend on what is given or on hand."""

    def initial_day(self) -> date:
        """The day that the form opens with: the one in its address, else today."""
        try:
            return timezone.localtime(self.fields["when"].clean(self.initial["when"])).date()
        except ValidationError:
            return timezone.localdate()

    def warning(self) -> str:
        """Something to beware of before it is sent."""
        return ""

    def to_know(self) -> str:
        """Something to know for doing it, beside what is asked."""
        return ""

    def run(self, doing: Doing) -> Recorded:
        """Call the action with what was typed."""
        raise NotImplementedError

    def doing(self) -> Doing:
        said = self.cleaned_data
        return Doing(
            by=self.person,
            happened_at=said["when"],
            uuid=said["uuid"],
            minutes=said.get("minutes"),
            own={"own": True, "paid": False}.get(said.get("own", "")),
            reason=said["reason"],
            sure=self.sure(),
            typed_by=self.typed_by,
        )

    def sign(self) -> None:
        """Let who typed initials and a PIN be the doer; refuses a wrong PIN."""
        who = signed(self.person, self.cleaned_data["initials"], self.cleaned_data["pin"])
        if who.by != who.typed_by:
            self.person, self.typed_by = who.by, who.typed_by

    def sure(self) -> bool:
        """Say whether the question about a doubtful number was answered with yes."""
        return bool(self.cleaned_data.get("sure"))

    def because(self, cause: str) -> Doing:
        """State a cause chosen from a list as the reason, with the note behind it."""
        said = self.cleaned_data["reason"]
        doing = DoingForm.doing(self)
        return replace(doing, reason=f"{cause}: {said}" if cause and said else cause or said)

    def clean_when(self) -> datetime:
        when: datetime = self.cleaned_data["when"]
        if when > timezone.now() + FAST_CLOCK:
            raise ValidationError("This is later than now. State when it was done.")
        return when

    # --- lots to draw from -----------------------------------------------------------------

    def offer_draws(
        self,
        group: str,
        lots: Sequence[Lot],
        prefilled: Mapping[int, int] | None = None,
        *,
        weighed: bool = False,
        stages: Sequence[int] = (),
    ) -> None:
        """Add a box for each lot: how much of it; blank is nothing.

        The lot that the address says all is taken of comes filled in; food past its days never.
        ``weighed``: in weight, also where the lot itself is counted (what blocks gave).
        ``stages``: what would bring lots in is offered where there are none.
        """
        rows = self.groups.setdefault(group, [])
        self.group_stages[group] = stages
        for lot in [*lots, *self.sent_before(group, lots)]:
            name, taken = f"{group}_{lot.pk}", (prefilled or {}).get(lot.pk)
            if lot.code == self.initial.get(ALL_OF):
                taken = lot.quantity
            if self._is_past(lot):
                taken = None
            field = MassField() if weighed else quantity_field(lot)
            field.label, field.required, field.initial = lot_label(lot, self.farm), False, taken
            if taken and isinstance(field, MassField):
                field.exact = (*field.exact, taken)
            self.add(name, field)
            field.help_text = ""
            rows.append((lot, name))

    def _is_past(self, lot: Lot) -> bool:
        card: LotCard | None = getattr(lot, "card", None)
        return card is not None and is_past(card, self.initial_day())

    def share_out(self, part: str, each: int, draws: Iterable[tuple[Lot, str]], *, by: str) -> None:
        """Let the script of a kept page fill in these boxes, as the server does with a signal.

        ``each``: how much of a part goes into one; ``by``: how many there are, in the address.
        """
        self.shares_out = True
        for lot, name in draws:
            field = self.fields[name]
            there = 0 if lot.held else lot.quantity
            field.widget.attrs |= {
                "data-part": part,
                "data-each": each,
                "data-by": by,
                "data-there": there,
                "data-all": field.prepare_value(lot.quantity),
                "data-until": keeps_until(lot.card) or "",
            }

    def add_beside(self, lot: Lot, field: AmountField) -> None:
        """Add a second box beside a lot's: its price."""
        self.add(f"price_{lot.pk}", field)

    def sent_before(self, group: str, lots: Sequence[Lot]) -> list[Lot]:
        """Lots that were drawn from when the form was sent and are empty since: sent again."""
        known = {f"{group}_{lot.pk}" for lot in lots}
        names = [name for name in self.data if name.startswith(f"{group}_")]
        gone = [name.removeprefix(f"{group}_") for name in names if name not in known]
        keys = [key for name in gone if (key := number_named(name)) is not None]
        return list(all_lots().filter(pk__in=keys)) if keys else []

    def drawn(self, group: str) -> list[Draw]:
        """Return what was typed into a group's boxes, leaving out what is blank or nothing."""
        taken = [(lot, self.cleaned_data.get(name)) for lot, name in self.groups.get(group, [])]
        return [Draw(lot, quantity) for lot, quantity in taken if quantity]

    # --- laid out --------------------------------------------------------------------------

    def own_fields(self) -> Iterator[forms.BoundField]:
        """The fields of this action, without the lists of lots and without when and how long."""
        listed = {name for rows in self.groups.values() for _, name in rows}
        beside = {f"price_{lot.pk}" for rows in self.groups.values() for lot, _ in rows}
        for name, field in self.fields.items():
            if name not in listed | beside | {*REST, *QUESTIONS} and not field.widget.is_hidden:
                yield self[name]

    def draw_groups(self) -> list[DrawGroup]:
        return [
            DrawGroup(
                self.group_titles.get(group, ""),
                [self.draw_row(*row) for row in rows],
                group in self.folded and not any(self.data.get(name) for _, name in rows),
                self.group_hints.get(group, DrawGroup.hint),
            )
            for group, rows in self.groups.items()
        ]

    def draw_row(self, lot: Lot, name: str) -> list[forms.BoundField]:
        beside = f"price_{lot.pk}"
        return [self[name], self[beside]] if beside in self.fields else [self[name]]

    def questions(self) -> list[forms.BoundField]:
        """What must be answered with a tick before it is recorded."""
        return [self[name] for name in QUESTIONS if name in self.fields]

    def place(self) -> SellingPlace | None:
        """Where it is sold, which may have its own usual minutes."""
        return self.given.get("place")

    def rest_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in REST if name in self.fields]

    def when_words(self) -> str:
        """What stands in the folded part unless it is changed, for its heading."""
        return "as typed" if self.is_bound else "now"

    def rest_is_open(self) -> bool:
        """Say whether something in the folded part needs to be seen."""
        seen = any(name in self.errors for name in REST) or bool(self.data.get("initials"))
        return seen or self.fields["reason"].required
