"""Orders: who asks for what by when; delivering one; calling one off."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cache
from itertools import takewhile
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.http import Http404
from django.urls import reverse
from django.utils import timezone

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.orders.orders import Days, Wanted, deliver
from farm.actions.selling.selling import SoldLine
from farm.kinds.selling import DELIVER
from farm.models import Customer, Farm, Goods, Loose, LooseGoods, Person, Product, SellingPlace
from farm.pages.access import Right, may
from farm.pages.addresses import day_named, number_named
from farm.pages.asking_form import SureForm
from farm.pages.clock import DayField
from farm.pages.fields import CountField, MassField, MoneyField, RowField
from farm.pages.recording_form import FirstForm
from farm.pages.selling.selling_forms import WEIGHTS, PricedForm
from farm.pages.ways_out import FilledElsewhere, WayOn
from farm.queries.orders.allocations import sellable, suggested
from farm.queries.orders.orders import DueOrder, due_between, due_order, fits, orders
from farm.queries.selling.prices import Listed, ordered_prices, prices_at
from farm.queries.stock import loose_goods
from farm.units import show_money
from ledger.models import Lot

LATE, AHEAD = timedelta(days=14), timedelta(days=14)
# A phone keeps the round of today and of tomorrow, for whoever drives before there is a signal.
ROUND_AHEAD = timedelta(days=1)
DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
OFTEN = (("0", "once"), ("1", "every week"), ("2", "every other week"), ("4", "every four weeks"))
LAST = ("every_weeks", "until", "note")


class CustomerFirst(FirstForm):
    customer = RowField(label="Who orders", queryset=Customer.objects.select_related("place"))


class WantedForm(SureForm):
    """A box for each product with a price for the customer, and for whatever is sold loose."""

    yes = "Take the order all the same"
    note = forms.CharField(label="Note", required=False, max_length=200)
    uuid = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        farm: Farm,
        person: Person,
        customer: Customer,
    ) -> None:
        today = timezone.localdate()
        super().__init__(data, farm=farm, initial={"due_on": today + timedelta(1), "uuid": uuid4()})
        self.person = person
        self.wanted: dict[str, Goods] = {}
        priced = prices_at(customer.place, today, customer)
        for product in Product.objects.select_related("species"):
            if product in priced:
                packs = CountField(noun="packs", required=False)
                self._add(f"product_{product.pk}", product, packs)
        if may(person, Right.SEE_SALES):
            for what in loose_goods():
                if what.state in (Loose.FRESH, Loose.DRIED):
                    self._add_loose(what, priced.get(what))
        self.order_fields([*(name for name in self.fields if name not in LAST), *LAST])

    def _add(self, name: str, what: Goods, field: CountField | MassField) -> None:
        field.label = f"{what}, packs" if isinstance(what, Product) else str(what)
        self.add(name, field)
        self.wanted[name] = what

    def _add_loose(self, what: LooseGoods, agreed: Listed | None) -> None:
        """Loose goods are priced by the weight that the farm works in."""
        name, per = f"species_{what.species.pk}", WEIGHTS[self.farm.weight_unit]
        if not what.is_usual:
            name = f"{name}_{what.state}_{what.grade}"
        self._add(name, what, MassField(required=False))
        field = MoneyField(label=f"{what}: price of a {per}", required=False)
        if agreed:
            shown = show_money(agreed.unit_money, self.farm.currency)
            field.help_text = f"Blank: {shown} a {WEIGHTS[agreed.weight_unit]}, {agreed.source}"
        self.add(f"price_{name}", field)

    def lines(self) -> list[Wanted]:
        said = self.cleaned_data
        return [
            Wanted(what, said[name], said.get(f"price_{name}"), self.farm.weight_unit)
            for name, what in self.wanted.items()
            if said.get(name)
        ]

    def doing(self) -> Doing:
        said = self.cleaned_data
        return Doing(
            by=self.person,
            happened_at=timezone.now(),
            uuid=said["uuid"],
            reason=said["note"],
            sure=self.is_sure(),
        )


class OrderForm(WantedForm):
    due_on = DayField(label="For which day")
    every_weeks = forms.ChoiceField(label="How often", choices=OFTEN, required=False)
    until = DayField(
        label="Until which day",
        required=False,
        help_text="Of a standing order; blank: until it is called off",
    )

    def days(self) -> Days:
        said = self.cleaned_data
        every = int(said["every_weeks"] or 0)
        return Days(said["due_on"], every, said["until"] if every else None)


class StopForm(forms.Form):
    from_day = DayField(label="From which day on")
    reason = forms.CharField(label="Why", max_length=200)


class PauseForm(forms.Form):
    first = DayField(label="From which day")
    last = DayField(label="Until and including")
    reason = forms.CharField(label="Why", max_length=200)


# --- delivering ------------------------------------------------------------------------------


class DueField(FilledElsewhere, forms.ChoiceField):
    """An order on one of its days, as “pk:day”; the open ones of these weeks are listed."""

    none = "No order is open."

    def use_farm(self, farm: Farm) -> None:
        # Asked for where the list is shown, and once.
        self.days = cache(lambda: open_days(AHEAD))
        self.choices = lambda: listed(self.days())

    def has_some(self) -> bool:
        return bool(self.days())

    def filled_by(self) -> WayOn:
        return WayOn("Take an order", reverse("order-take"), (Right.RECORD,))

    def valid_value(self, value: object) -> bool:
        return True  # `clean` looks the order up: a form sent twice names one that is delivered

    def clean(self, value: object) -> DueOrder:
        pk, _, day = str(super().clean(value)).partition(":")
        try:
            order = orders().filter(pk=number_named(pk) or 0).first()
            due = due_order(order, day_named(day)) if order else None
        except Http404:
            due = None
        if due is None:
            raise ValidationError("There is no such order on that day. Choose one of the list.")
        return due


def open_days(ahead: timedelta) -> list[DueOrder]:
    """The open days of orders of these weeks, those that are late among them."""
    today = timezone.localdate()
    return [one for one in due_between(today - LATE, today + ahead) if one.is_open]


def listed(due: Sequence[DueOrder]) -> list[tuple[str, str]]:
    """Days of orders, to choose one."""
    first = "Choose" if due else "No order is open. Take one first, under Orders."
    return [("", first), *((key_of(one), str(one)) for one in due)]


class DeliverFirst(FirstForm):
    due = DueField(label="Which order")
    round: Sequence[DueOrder] = ()

    def narrow_for_phone(self) -> None:
        """Offer the round alone: a phone keeps no more names than it needs."""
        self.round = open_days(ROUND_AHEAD)
        self.fields["due"].choices = listed(self.round)  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Say which stops of a round that is kept come before this one."""
        said = self.cleaned_data
        if due := said.get("due"):
            said["before"] = list(takewhile(lambda one: key_of(one) != key_of(due), self.round))
        return said


class DeliverForm(PricedForm):
    """What is given of which lot; the oldest that keeps until the day is filled in."""

    kind = DELIVER
    first = DeliverFirst
    group_titles = {
        "give": "What is given, of each lot",
        "instead": "Another product in its place, or on top",
    }
    folded = ("instead",)

    rest_follows = forms.BooleanField(
        label="The rest follows",
        required=False,
        help_text="Tick it if what is short is still owed",
    )

    def build(self) -> None:
        due: DueOrder = self.given["due"]
        lots = sellable(due)
        fitting = [lot for lot in lots if any(fits(one.line, lot) for one in due.asked)]
        taken = suggested(due, lots, before=self.given["before"])
        fitting += [lot for lot in lots if lot.pk in taken and lot not in fitting]
        self.offer_draws("give", fitting, taken)
        self.offer_draws("instead", [lot for lot in lots if lot not in fitting])
        offered = [lot for rows in self.groups.values() for lot, _ in rows]
        self.prices = ordered_prices(due, offered)
        if due.order.share:
            del self.fields["rest_follows"]
            return
        self.offer_prices(offered, due.order.customer.place, self.initial["when"].date())
        for lot in offered:
            price, field = self.prices[lot.pk], self.fields.get(f"price_{lot.pk}")
            if field and price is not None:
                field.initial = price.unit_money
        self.offer_discount()

    def warning(self) -> str:
        nothing = not self.groups["give"]
        return "Nothing on hand that keeps long enough is what was asked." if nothing else ""

    def place(self) -> SellingPlace:
        place: SellingPlace = self.given["due"].order.customer.place
        return place

    def run(self, doing: Doing) -> Recorded:
        due: DueOrder = self.given["due"]
        drawn = [*self.drawn("give"), *self.drawn("instead")]
        return deliver(
            doing,
            order=due.order,
            due_on=due.day,
            lines=[self._line(due, draw, doing.day) for draw in drawn],
            rest_follows=self.cleaned_data.get("rest_follows", False),
        )

    def unit_of(self, lot: Lot) -> str:
        """What is loose was ordered at a price a kilogram or a pound."""
        price = self.prices[lot.pk]
        return price.weight_unit if price else self.farm.weight_unit

    def _line(self, due: DueOrder, draw: Draw, on: date) -> SoldLine:
        """At the price typed, else the order's, else what is agreed or listed."""
        price, customer = self.prices[draw.lot.pk], due.order.customer
        if price is None or self.cleaned_data.get(f"price_{draw.lot.pk}") is not None:
            return self.line_of(draw, customer.place, on=on, customer=customer)
        return SoldLine(
            draw.lot,
            draw.quantity,
            price.unit_money,
            weight_unit=price.weight_unit,
            discount_ppm=self.discount(),
        )


def key_of(due: DueOrder) -> str:
    return f"{due.order.pk}:{due.day.isoformat()}"
