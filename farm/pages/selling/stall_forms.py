"""A stall day: what goes along, and on the evening what came back and what was in the till.

One form for the whole load, a row a product; by lot where the tapes were read. Whoever may not
see prices types none: the price list is used.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from django import forms
from django.utils import timezone

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.questions import PlausibilityQuestion, answered
from farm.actions.selling.cashing import CashCount
from farm.actions.selling.giving import give_away
from farm.actions.selling.sharing_out import Counted, ItemDay, share_out
from farm.actions.selling.stalls import Besides, load_stall, settle_stall
from farm.kinds.selling import GIVE_AWAY, LOAD_STALL, SETTLE_STALL
from farm.models import (
    Discount,
    Given,
    LoadLine,
    Person,
    Role,
    SellingPlace,
    StallDay,
    TapOf,
)
from farm.pages import visible_rows
from farm.pages.access import sees_stall_prices
from farm.pages.clock import DayField
from farm.pages.fields import AmountField, MoneyField, RowField, how_much, quantity_field
from farm.pages.recording_form import DoingForm, FirstForm
from farm.pages.selling.cash_forms import CASH, add_till, cash_count
from farm.pages.selling.unlisted import SOLD_FIRST, SOLD_STAGES, ListedByKind
from farm.pages.store.store_forms import LotFirst
from farm.queries.orders.allocations import set_aside, taken_of
from farm.queries.sales import in_open_loads, open_loads
from farm.queries.selling.till import IN_ORDER, TillGoods, till_goods
from farm.queries.stock import lots_on_hand
from farm.templatetags.farm_format import amount_of, moment
from farm.templatetags.farm_format import day as show_day
from ledger.models import Lot

EVENING = time(18)
AWAY = {Given.SAMPLE: "Samples", Given.GIFT: "Gifts", Given.OWN: "Own use"}


class LoadFirst(FirstForm):
    place = RowField(label="For which stall or place", queryset=SellingPlace.objects.all())

    def narrow(self, person: Person) -> None:
        self.narrow_rows("place", visible_rows.places, person)


class LoadForm(ListedByKind):
    kind = LOAD_STALL
    first = LoadFirst
    group_titles = {"load": "What goes along, of each lot"}
    day = DayField(label="For which day")

    def build(self) -> None:
        self.initial.setdefault("day", self.initial["when"].date())
        sellers = Person.objects.filter(role__in=(Role.OWNER, Role.SELLER))
        if not visible_rows.is_seller(self.person) and len(sellers) > 1:
            last = StallDay.objects.filter(place=self.given["place"]).order_by("-day", "-pk")
            self.initial.setdefault("seller", last.values_list("seller", flat=True).first())
            self.add("seller", RowField(label="Who sells", queryset=sellers, required=False))
        self._offer_lots()

    def _offer_lots(self) -> None:
        """Offer what may be loaded, and say what of it is free; what is refused is left out."""
        loaded, aside = in_open_loads(), taken_of(set_aside())
        lots = [
            lot
            for lot in lots_on_hand(*SOLD_STAGES)
            if not lot.held and lot.quantity > loaded.get(lot.pk, 0)
        ]
        self.offer_draws("load", lots, stages=SOLD_FIRST)
        for lot in lots:
            taken = {"set aside for orders": aside.get(lot.pk, 0), "loaded": loaded.get(lot.pk, 0)}
            words = [
                f"{amount_of(much, lot, self.farm)} {where}"
                for where, much in taken.items()
                if much
            ]
            free = max(0, lot.quantity - sum(taken.values()))
            if words:
                said = f"{amount_of(free, lot, self.farm)} free" if free else "None is free"
                self.fields[f"load_{lot.pk}"].help_text = f"{said}: {', '.join(words)}"

    def run(self, doing: Doing) -> Recorded:
        return load_stall(
            doing,
            place=self.given["place"],
            day=self.cleaned_data["day"],
            lines=self.drawn("load"),
            seller=self.cleaned_data.get("seller"),
        )


class StallDayField(RowField):
    def label_from_instance(self, obj: StallDay) -> str:
        return f"{obj.place}, {show_day(obj.day)}"


class SettleFirst(FirstForm):
    stall_day = StallDayField(label="Which load", queryset=open_loads())

    def __init__(self, data: Mapping[str, Any] | None = None, **known: Any) -> None:
        super().__init__(data, **known)
        field = self.fields["stall_day"]
        if data and isinstance(field, forms.ModelChoiceField):
            # A form sent twice names a load that it settled itself.
            field.queryset = StallDay.objects.select_related("place")

    def narrow(self, person: Person) -> None:
        self.narrow_rows("stall_day", visible_rows.loads, person)


@dataclass(frozen=True)
class BackRow:
    """One row of the form: a product with all its lots, or one lot; ``key`` ends its fields.

    ``over_words``: how much more was tapped than loaded, where it was.
    """

    key: str
    title: str
    took_words: str
    over_words: str
    took: int
    lines: tuple[LoadLine, ...]
    goods: TillGoods

    @property
    def lot(self) -> Lot:
        return self.lines[0].lot

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(line.lot.code for line in self.lines)


@dataclass(frozen=True)
class ShownRow:
    """A row as the page lays it out; ``more``: what is seldom needed."""

    row: BackRow
    back: forms.BoundField
    samples: forms.BoundField
    more: list[forms.BoundField]


class BackForm(DoingForm):
    """Took 40, brought back 9, cut up 1: what was sold follows. Then what was in the till."""

    kind = SETTLE_STALL
    first = SettleFirst
    by_lot = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def build(self) -> None:
        self.stall_day: StallDay = self.given["stall_day"]
        goods = {one.item.pk: one for one in till_goods(self.stall_day)}
        loaded = self.stall_day.lines.select_related("lot__item", "lot__card", "lot__made_by")
        self.loaded = list(loaded.order_by(*IN_ORDER))
        if self.is_late:
            self.initial["when"] = self.evening()
        self.one_by_one = bool(self.data.get("by_lot") or self.initial.get("by_lot"))
        self.rows = list(self.make_rows(goods))
        self.taps = sum(sum(one.tapped.values()) for one in goods.values())
        for row in self.rows:
            self.add_row(row)
        if sees_stall_prices(self.person):
            why = forms.ChoiceField(
                label="Why for less", choices=[("", "not said"), *Discount.choices], required=False
            )
            self.add("off_why", why)
        self.add_cash()

    @property
    def is_late(self) -> bool:
        return self.stall_day.day < timezone.localdate()

    def evening(self) -> datetime:
        """When a day that is settled later was sold: at its end, and never before its load."""
        evening = datetime.combine(self.stall_day.day, EVENING, self.farm.zone)
        return max(evening, timezone.localtime(self.stall_day.entry.happened_at))

    def when_words(self) -> str:
        return moment(self.evening()) if self.is_late else super().when_words()

    def make_rows(self, goods: Mapping[int, TillGoods]) -> Iterator[BackRow]:
        keys: dict[str, list[LoadLine]] = {}
        for line in self.loaded:
            key = f"lot{line.lot_id}" if self.one_by_one else f"item{line.lot.item_id}"
            keys.setdefault(key, []).append(line)
        for key, lines in keys.items():
            lot, took = lines[0].lot, sum(line.quantity for line in lines)
            over = 0 if self.one_by_one else goods[lot.item_id].over
            yield BackRow(
                key=key,
                title=str(lot.item),
                took_words=amount_of(took, lot, self.farm),
                over_words=amount_of(over, lot, self.farm) if over else "",
                took=took,
                lines=tuple(lines),
                goods=goods[lot.item_id],
            )

    # --- fields ----------------------------------------------------------------------------

    def add_row(self, row: BackRow) -> None:
        """Ask what came back and was given away; what was tapped at the till stands there."""
        tapped = row.goods.tapped if not self.one_by_one else {}
        back = self.amount(row, "Brought back", row.goods.there if tapped else None)
        back.widget.attrs |= {"data-back": row.key}
        self.add(f"back_{row.key}", back)
        for why, label in AWAY.items():
            field = self.amount(row, label, tapped.get(TapOf(why)) or None)
            field.widget.attrs |= {"data-given": row.key}
            self.add(f"{_word(why)}_{row.key}", field)
        if sees_stall_prices(self.person):
            self.add_prices(row, tapped)

    def add_prices(self, row: BackRow, tapped: Mapping[str, int]) -> None:
        goods, off = row.goods, None
        if tapped and goods.list_money is not None and goods.is_counted:
            off = goods.list_money * goods.sold - goods.taken_money
        per = "one" if goods.is_counted else f"a {self.farm.weight_unit}"
        price = MoneyField(label=f"Price of {per}", required=False, initial=goods.list_money)
        self.add(f"price_{row.key}", price)
        hint = "In all, of this product"
        self.add(
            f"off_{row.key}",
            MoneyField(label="Taken off", required=False, initial=off or None, help_text=hint),
        )

    def amount(self, row: BackRow, label: str, known: int | None) -> AmountField:
        field = quantity_field(row.lot, label=label, required=False, initial=known)
        field.widget.attrs |= {"aria-label": f"{label}: {row.title} {' '.join(row.codes)}"}
        return field

    def add_cash(self) -> None:
        place = self.stall_day.place
        self.add(
            "cash_money",
            MoneyField(
                label="Cash in the till",
                required=False,
                help_text="Float and all. Blank: count it later",
            ),
        )
        add_till(self, place, initial=CashCount(place.float_money, 0))

    # --- read ------------------------------------------------------------------------------

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        if said.get("cash_money") is None and any(
            said.get(name) for name in self.fields if name in CASH[1:4] or name.startswith("token_")
        ):
            self.add_error("cash_money", "State the cash in the till, 0 if there was none.")
        return said

    def run(self, doing: Doing) -> Recorded:
        counted = self.counted()
        return settle_stall(
            answered(doing, self.all_gone()),
            stall_day=self.stall_day,
            brought_back=counted.back,
            prices=self.prices(),
            weight_unit=self.farm.weight_unit,
            besides=Besides.of(
                counted, off_why=self.cleaned_data.get("off_why", ""), cash=self.cash()
            ),
        )

    def all_gone(self) -> PlausibilityQuestion | None:
        """Doubt a day of which nothing is stated as brought back."""
        if any(self.cleaned_data.get(f"back_{row.key}") is not None for row in self.rows):
            return None
        return PlausibilityQuestion("Nothing is stated as brought back. Was everything sold?")

    def counted(self) -> Counted:
        """What became of each lot: as it was read off the tapes, or the oldest sold first."""
        said = {row.key: self.day_of(row) for row in self.rows}
        if not self.one_by_one:
            return share_out(self.loaded, {row.lot.item_id: said[row.key] for row in self.rows})
        given = {
            why: [
                Draw(row.lot, quantity)
                for row in self.rows
                if (quantity := said[row.key].given.get(why, 0))
            ]
            for why in AWAY
        }
        return Counted(
            back={row.lot.pk: said[row.key].back for row in self.rows},
            given={str(why): draws for why, draws in given.items() if draws},
            off_money={row.lot.pk: said[row.key].off_money for row in self.rows},
            by_item=(),
        )

    def day_of(self, row: BackRow) -> ItemDay:
        said = self.cleaned_data
        given = {str(why): said.get(f"{_word(why)}_{row.key}") or 0 for why in AWAY}
        return ItemDay(
            back=said.get(f"back_{row.key}") or 0,
            given={why: quantity for why, quantity in given.items() if quantity},
            off_money=said.get(f"off_{row.key}") or 0,
        )

    def prices(self) -> dict[int, int]:
        typed = [(row, self.cleaned_data.get(f"price_{row.key}")) for row in self.rows]
        return {
            line.lot_id: price for row, price in typed if price is not None for line in row.lines
        }

    def cash(self) -> CashCount | None:
        if self.cleaned_data.get("cash_money") is None:
            return None
        return cash_count(self.cleaned_data)

    # --- laid out --------------------------------------------------------------------------

    def place(self) -> SellingPlace:
        place: SellingPlace = self.given["stall_day"].place
        return place

    def shown_rows(self) -> list[ShownRow]:
        return [
            ShownRow(
                row=row,
                back=self[f"back_{row.key}"],
                samples=self[f"sample_{row.key}"],
                more=[
                    self[f"{name}_{row.key}"]
                    for name in ("gift", "own", "price", "off")
                    if f"{name}_{row.key}" in self.fields
                ],
            )
            for row in self.rows
        ]

    def till_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name in CASH or name.startswith("token_")]

    def more_is_open(self) -> bool:
        """Say whether something seldom needed is filled in, or wrong."""
        names = [field.name for shown in self.shown_rows() for field in shown.more]
        typed = [name for name in names if not name.startswith("price_") and self[name].value()]
        return bool(typed) or any(name in self.errors for name in names)

    def own_fields(self) -> Iterator[forms.BoundField]:
        return iter(())


def _word(why: str) -> str:
    return why.partition(" ")[0]


class GiveAwayForm(DoingForm):
    """Samples, gifts, own use, away from a stall: it leaves with its cost, and brings nothing."""

    kind = GIVE_AWAY
    first = LotFirst
    why = forms.ChoiceField(label="As what", choices=Given.choices)

    def build(self) -> None:
        lot = self.given["lot"]
        self.add("quantity", quantity_field(lot, label=how_much(lot)))
        self.order_fields(["quantity", "why"])

    def run(self, doing: Doing) -> Recorded:
        said = self.cleaned_data
        return give_away(doing, why=said["why"], draws=[Draw(self.given["lot"], said["quantity"])])
