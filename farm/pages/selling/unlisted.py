"""What may be sold: lots on hand in the order of selling, and what no list can show.

A sale may be entered before its pick is, or from a lot that the book holds empty. It is then kept
whole among the unfinished, and tried again with every entry that follows: it takes the one lot of
such goods that was recorded since, and none that was there when it was typed.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from farm.actions.common import Doing, Draw
from farm.kinds.selling import SELLABLE
from farm.models import Customer, Form, Goods, Loose, LooseGoods, Product, Stage
from farm.pages.access import sees_stall_prices
from farm.pages.fields import (
    CountField,
    LotField,
    MassField,
    MoneyField,
    PlainAmountField,
    quantity_field,
)
from farm.pages.recording_form import DoingForm, DrawGroup
from farm.queries.recording.phone import typed_at
from farm.queries.selling.prices import listed_price
from farm.queries.stock import loose_goods, lots_of, recorded_since
from farm.templatetags.farm_format import amount_of
from ledger.errors import Malformed, NotEnough
from ledger.models import Lot

SHOWN = 6
SOLD_STAGES = SELLABLE
# What is recorded where nothing is on hand to be sold.
SOLD_FIRST = (Stage.PACKS, Stage.CROP)
SELDOM = (Stage.SPENT, Stage.SPAWN)
UNLISTED = ("unlisted_lot", "unlisted_what", "unlisted_amount", "unlisted_price")


class ListedByKind(DoingForm):
    """Lots to sell from: packs before what is loose, fresh before dried, long lists folded.

    Spent blocks and spawn come last, and folded.
    """

    def draw_groups(self) -> list[DrawGroup]:
        found = []
        for group, rows in self.groups.items():
            kinds = {kind_of(lot): kind_words(lot) for lot, _ in rows}
            for kind in sorted(kinds):
                title = f"{self.group_titles[group]}: {kinds[kind]}"
                found += self.folded_groups(title, [r for r in rows if kind_of(r[0]) == kind])
        return found or super().draw_groups()

    def folded_groups(self, title: str, rows: Sequence[tuple[Lot, str]]) -> list[DrawGroup]:
        """Show the oldest lots of a kind, and fold the others away unless one is filled in."""
        first, rest = rows[:SHOWN], rows[SHOWN:]
        seldom = rows[0][0].card.stage in SELDOM and not any(
            self.data.get(name) for _, name in rows
        )
        groups = [DrawGroup(title, [self.draw_row(*row) for row in first], folded=seldom)]
        if rest:
            typed = any(self.data.get(name) for _, name in rest)
            more = f"And {len(rest)} more. {title}"
            groups.append(DrawGroup(more, [self.draw_row(*row) for row in rest], not typed))
        return groups


def kind_of(lot: Lot) -> tuple[int, bool, bool]:
    """Say how seldom a lot is sold, whether it is loose, and dried: the order of selling."""
    card = lot.card
    dried = card.stage == Stage.DRIED or (card.product and card.product.form == Form.DRIED)
    seldom = SELDOM.index(card.stage) + 1 if card.stage in SELDOM else 0
    return seldom, card.stage != Stage.PACKS, bool(dried)


def kind_words(lot: Lot) -> str:
    seldom, loose, dried = kind_of(lot)
    if seldom:
        return Stage(lot.card.stage).label
    return f"{'loose' if loose else 'packs'}, {'dried' if dried else 'fresh'}"


class CodeField(LotField):
    """One lot, by its code alone."""

    widget = forms.TextInput  # type: ignore[assignment]

    def use_farm(self, farm: object) -> None:
        """Offer nothing: the lot is one that no list shows."""


class UnlistedForm(ListedByKind):
    """A sale of an emptied lot, by its code, or of what no lot is recorded of yet."""

    def offer_unlisted(self) -> None:
        choices = [("", "Choose"), *((key_of(what), words_of(what)) for what in sold_goods())]
        self.add("unlisted_lot", CodeField(label="Code of the emptied lot", required=False))
        self.add(
            "unlisted_what",
            forms.ChoiceField(
                label="or, with no lot yet, what it was", choices=choices, required=False
            ),
        )
        self.add("unlisted_amount", PlainAmountField(label="How much of it", required=False))
        if sees_stall_prices(self.person):
            price = MoneyField(label="Its price, if it is not listed", required=False)
            self.add("unlisted_price", price)

    def own_fields(self) -> Iterator[forms.BoundField]:
        return (field for field in super().own_fields() if field.name not in UNLISTED)

    def draw_groups(self) -> list[DrawGroup]:
        rows = [[self[name]] for name in UNLISTED if name in self.fields]
        typed = any(self.data.get(name) for name in UNLISTED)
        title = "Not in the list: an emptied lot, or not recorded yet"
        return [*super().draw_groups(), DrawGroup(title, rows, not typed)]

    def clean(self) -> dict[str, Any]:
        """Read the amount in the unit of what it is of."""
        said = self.cleaned_data
        lot, what = said.get("unlisted_lot"), self.what()
        typed = said.get("unlisted_amount")
        if bool(lot or what) != bool(typed):
            self.add_error("unlisted_amount", "State both what it was and how much of it.")
        elif typed:
            loose = isinstance(what, LooseGoods)
            field = quantity_field(lot) if lot else MassField() if loose else CountField()
            self.tell(field)
            try:
                said["unlisted_amount"] = field.clean(typed)
            except ValidationError as refusal:
                self.add_error("unlisted_amount", refusal)
        return said

    def what(self) -> Goods | None:
        key = self.cleaned_data.get("unlisted_what")
        return next((what for what in sold_goods() if key_of(what) == key), None) if key else None

    def unlisted(self, doing: Doing) -> Draw | None:
        """Draw what no list showed: of the lot named, or of the one recorded since it was typed.

        Refuses (NotEnough, of no lot) while there is none, or more than one: the sale then waits
        for its pick, or for somebody to say which lot it was.
        """
        said, what = self.cleaned_data, self.what()
        amount: int | None = said.get("unlisted_amount")
        if not amount:
            return None
        if said.get("unlisted_lot"):
            return Draw(said["unlisted_lot"], amount)
        assert what
        since = typed_at(doing.uuid)
        new = list(recorded_since(what, since, until=doing.day)) if since else []
        if len(new) != 1 or new[0].quantity < amount:
            raise NotEnough(self._waits_for(what, new), [], entry_seq=0)
        return Draw(new[0], amount)

    def _waits_for(self, what: Goods, new: Sequence[Lot]) -> str:
        """Say what the sale waits for, and that no lot is taken which was not named."""
        amount, record = self.data["unlisted_amount"], record_words(what)
        if len(new) > 1:
            codes = ", ".join(lot.code for lot in new)
            return (
                f"{words_of(what)}: {amount} sold, and since then lots {codes} were recorded. "
                "Open the sale and say of which lot it was."
            )
        if new:
            held = amount_of(new[0].quantity, new[0], self.farm)
            return (
                f"{words_of(what)}: {amount} sold, and lot {new[0].code}, recorded since, holds "
                f"{held}. Record the rest, or open the sale and say of which lots it was."
            )
        on_hand = ", ".join(lot.code for lot in lots_of(what).filter(quantity__gt=0))
        named = f" If it was of lot {on_hand}, choose that in the list instead." if on_hand else ""
        return (
            f"{words_of(what)}: {amount} sold before it is recorded. {record}; this sale is then "
            f"recorded by itself.{named}"
        )

    def need_unlisted_price(self, customer: Customer | None) -> None:
        """Refuse at once what would wait for ever: goods that no price is known of."""
        what, place = self.what(), self.place()
        if what is None or place is None or self.cleaned_data.get("unlisted_price") is not None:
            return
        day = self.cleaned_data["when"].date()
        if listed_price(place, day, customer=customer, what=what) is None:
            raise Malformed(f"{words_of(what)}: no price at {place} is known. State the price.")


def sold_goods() -> list[Goods]:
    return [*Product.objects.select_related("species"), *loose_goods()]


def key_of(what: Goods) -> str:
    """Name goods in a form; fresh firsts by their species alone."""
    if isinstance(what, Product):
        return f"product-{what.pk}"
    key = f"loose-{what.species.pk}"
    return key if what.is_usual else f"{key}-{what.state}-{what.grade}"


def words_of(what: Goods) -> str:
    return f"{what}, packs" if isinstance(what, Product) else str(what)


def record_words(what: Goods) -> str:
    """Say what must be recorded before goods can be sold."""
    state = "" if isinstance(what, Product) else what.state
    doing = {
        Loose.FRESH: "the pick",
        Loose.DRIED: "the drying",
        Loose.SPENT: "the blocks kept as spent",
        Loose.SPAWN: "the spawn",
    }
    return f"Record {doing.get(Loose(state), '') if state else 'the packing'}"
