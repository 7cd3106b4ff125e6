"""Selling: to a customer, at a stall, and what comes back.

Who may not see money types none: the price list is used.
"""

from collections.abc import Sequence
from datetime import date

from django.utils import timezone

from farm.actions.common import Doing, Draw, Recorded
from farm.actions.selling.pricing import need_price
from farm.actions.selling.selling import SoldLine, sell, take_back
from farm.kinds.selling import SELL, TAKE_BACK
from farm.models import Customer, Person, SaleLine, SellingPlace, Stage
from farm.pages import visible_rows
from farm.pages.access import Right, may, sees_stall_prices
from farm.pages.fields import MoneyField, PercentField, RowField, how_much, quantity_field
from farm.pages.recording_form import DoingForm, FirstForm
from farm.pages.selling.unlisted import SOLD_FIRST, SOLD_STAGES, UnlistedForm
from farm.queries.sales import returnable
from farm.queries.selling.prices import prices_at
from farm.queries.stock import lots_on_hand
from farm.templatetags.farm_format import day as show_day
from farm.units import show_money
from ledger.models import Lot

NEWEST = 60
WEIGHTS = {"kg": "kilogram", "lb": "pound"}


class PricedForm(DoingForm):
    """Beside each lot stands its price: of a pack, or of the weight that the farm works in."""

    def weight_unit(self) -> str:
        """Name the weight that a price of what is loose is for."""
        return self.farm.weight_unit

    def unit_of(self, lot: Lot) -> str:
        """Name the weight that the price beside a lot is for, where it is loose."""
        return self.weight_unit()

    def offer_prices(
        self, lots: Sequence[Lot], place: SellingPlace, known_day: date | None = None
    ) -> None:
        """Fill in the prices of a day that is known; else blank is the price of the day stated."""
        if not sees_stall_prices(self.person):
            return
        listed = prices_at(place, known_day or timezone.localdate())
        for lot in lots:
            packed = lot.card.stage == Stage.PACKS
            unit = self.unit_of(lot)
            price = listed.get(lot.card.goods)
            per = "pack" if packed else WEIGHTS[unit]
            field = MoneyField(label=f"Price of a {per}", required=False)
            if price and known_day and (packed or price.weight_unit == unit):
                field.initial = price.unit_money
            elif price:
                shown = show_money(price.unit_money, self.farm.currency)
                each = "" if packed else f" a {WEIGHTS[price.weight_unit]}"
                field.help_text = f"Blank: as listed on the day it was done; today {shown}{each}"
            self.add_beside(lot, field)

    def line_of(
        self, draw: Draw, place: SellingPlace, *, on: date, customer: Customer | None = None
    ) -> SoldLine:
        """Sell a lot at the price typed beside it, or at the one in force; refused without one."""
        lot = draw.lot
        typed: int | None = self.cleaned_data.get(f"price_{lot.pk}")
        if typed is None:
            listed = need_price(place, on, card=lot.card, customer=customer)
            money, unit = listed.unit_money, listed.weight_unit
        else:
            money, unit = typed, self.unit_of(lot)
        return SoldLine(lot, draw.quantity, money, weight_unit=unit, discount_ppm=self.discount())

    def offer_discount(self) -> None:
        if may(self.person, Right.SEE_SALES):
            help_text = "Let off every line; 5 is 5 %"
            self.add(
                "discount", PercentField(label="Discount", required=False, help_text=help_text)
            )

    def discount(self) -> int:
        return self.cleaned_data.get("discount") or 0


class PlaceFirst(FirstForm):
    place = RowField(label="Where", queryset=SellingPlace.objects.all())

    def narrow(self, person: Person) -> None:
        self.narrow_rows("place", visible_rows.places, person)


class SellForm(PricedForm, UnlistedForm):
    kind = SELL
    first = PlaceFirst
    counts_up = True
    group_titles = {"sold": "What was sold, of each lot"}

    def build(self) -> None:
        place = self.given["place"]
        customers = Customer.objects.filter(place=place)
        sees = may(self.person, Right.SEE_ORDERS)
        if sees and (place.names_customers or customers.exists()):
            named = RowField(label="Customer", queryset=customers, required=False)
            self.add("customer", named)
        self.offer_draws("sold", lots_on_hand(*SOLD_STAGES), stages=SOLD_FIRST)
        lots = [lot for lot, _ in self.groups["sold"]]
        self.offer_prices(lots, place)
        self.offer_unlisted()
        self.offer_discount()

    def run(self, doing: Doing) -> Recorded:
        place, customer = self.given["place"], self.cleaned_data.get("customer")
        self.need_unlisted_price(customer)
        lines = [
            self.line_of(draw, place, on=doing.day, customer=customer)
            for draw in self.drawn("sold")
        ]
        typed: int | None = self.cleaned_data.get("unlisted_price")
        draw = self.unlisted(doing)
        if draw and typed is None:
            lines.append(self.line_of(draw, place, on=doing.day, customer=customer))
        elif draw and typed is not None:
            lines.append(
                SoldLine(
                    draw.lot,
                    draw.quantity,
                    typed,
                    weight_unit=self.weight_unit(),
                    discount_ppm=self.discount(),
                )
            )
        return sell(
            doing,
            place=place,
            customer=customer,
            lines=lines,
            count_up=bool(self.cleaned_data.get("count_up")),
        )


class SaleLineField(RowField):
    """The newest sales are listed; an older one is reached from its entry's page."""

    most = NEWEST

    def label_from_instance(self, obj: SaleLine) -> str:
        lot, to = obj.line.lot, obj.sale.customer or obj.sale.place
        return f"{show_day(obj.line.entry.happened_on)} · {to} · {lot.code} · {lot.item}"


class TakeBackFirst(FirstForm):
    sale_line = SaleLineField(label="From which sale", queryset=returnable())

    def narrow(self, person: Person) -> None:
        self.narrow_rows("sale_line", visible_rows.sale_lines, person)


class TakeBackForm(DoingForm):
    kind = TAKE_BACK
    first = TakeBackFirst

    def build(self) -> None:
        line: SaleLine | None = self.given["sale_line"]
        lot = line.line.lot if line else None
        self.add("quantity", quantity_field(lot, label=f"{how_much(lot)} came back"))

    def place(self) -> SellingPlace | None:
        line: SaleLine | None = self.given["sale_line"]
        return line.sale.place if line else None

    def run(self, doing: Doing) -> Recorded:
        return take_back(
            doing,
            sale_line=self.given["sale_line"],
            quantity=self.cleaned_data["quantity"],
        )
