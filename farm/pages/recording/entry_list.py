"""The list of entries, and the list of sales."""

from datetime import date

import django_filters
import django_tables2 as tables
from django.db.models import OuterRef, Prefetch, Subquery
from django.forms import DateInput
from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from farm.models import Customer, Person, SaleLine, SellingPlace
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, page
from farm.pages.lists import BOTH, NUMBER, AmountTable, Listing, ListTable, list_page
from farm.queries.entries import entries, is_late, kinds
from farm.queries.sales import products_sold, sale_lines
from farm.reports.rows import Column, Kind
from farm.templatetags.farm_format import MINUS, amount_of, day, moment, what
from ledger.models import Entry, Line

TAKEN_BACK = mark_safe('<span class="badge">taken back</span>')
LATE = mark_safe('<span class="badge check">late</span>')
DAY = DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


def kind_choices() -> list[tuple[str, str]]:
    return [(kind, what(kind)) for kind in kinds()]


def signers() -> list[tuple[int, str]]:
    return list(Person.objects.order_by("initials").values_list("pk", "initials"))


def lots_named(entry: Entry) -> list[str]:
    return list(dict.fromkeys(line.lot.code for line in entry.lines.all()))


class EntryTable(ListTable):
    seq = tables.Column(
        verbose_name="Entry", linkify=lambda record: reverse("entry", args=[record.seq])
    )
    kind = tables.Column(verbose_name="What")
    happened_at = tables.Column(verbose_name="When", attrs={"td": {"class": "day"}})
    lots = tables.Column(empty_values=(), orderable=False)
    initials = tables.Column(verbose_name="By")
    state = tables.Column(empty_values=(), orderable=False)

    sheet = (
        (Column("Entry", Kind.COUNT), lambda entry: entry.seq),
        (Column("What"), lambda entry: entry.kind),
        (Column("Done on", Kind.DATE), lambda entry: entry.happened_on),
        (Column("Recorded on", Kind.DATE), lambda entry: timezone.localdate(entry.recorded_at)),
        (Column("Late"), lambda entry: "late" if is_late(entry) else ""),
        (Column("By"), lambda entry: entry.initials or ""),
        (Column("Lots"), lambda entry: ", ".join(lots_named(entry))),
        (Column("Reason"), lambda entry: entry.reason),
        (Column("Taken back"), lambda entry: "yes" if entry.taken_back else ""),
        (Column("Amends", Kind.COUNT), lambda entry: entry.amends_id),
    )

    class Meta(ListTable.Meta):
        row_attrs = {"class": lambda record: "struck" if record.taken_back else ""}

    def render_kind(self, value: str) -> str:
        return what(value)

    def render_happened_at(self, record: Entry) -> str:
        return moment(record.happened_at)

    def render_lots(self, record: Entry) -> SafeString:
        named = ((reverse("lot", args=[code]), code) for code in lots_named(record))
        return format_html_join(" ", '<a class="code" href="{}">{}</a>', named)

    def render_state(self, record: Entry) -> str:
        if record.taken_back:  # type: ignore[attr-defined]
            return TAKEN_BACK
        if record.amends_id:
            return format_html('<span class="badge">of entry {}</span>', record.amends_id)
        return LATE if is_late(record) else ""


class EntryFilter(django_filters.FilterSet):
    kind = django_filters.ChoiceFilter(choices=kind_choices, label="What", empty_label="all")
    since = django_filters.DateFilter(
        field_name="happened_on", lookup_expr="gte", label="From", widget=DAY
    )
    until = django_filters.DateFilter(
        field_name="happened_on", lookup_expr="lte", label="To", widget=DAY
    )
    by = django_filters.ChoiceFilter(choices=signers, label="By", empty_label="all")
    lot = django_filters.CharFilter(
        field_name="lines__lot__code", lookup_expr="iexact", label="Lot", distinct=True
    )


class SaleTable(AmountTable):
    day = tables.Column(
        accessor="line__entry__happened_on", verbose_name="Day", attrs={"td": {"class": "day"}}
    )
    to = tables.Column(accessor="sale__customer", verbose_name="Customer", empty_values=())
    place = tables.Column(accessor="sale__place", verbose_name="Place")
    product = tables.Column(empty_values=())
    lot = tables.Column(
        accessor="line__lot__code",
        verbose_name="Lot",
        linkify=lambda record: reverse("lot", args=[record.line.lot.code]),
        attrs={"a": {"class": "code"}},
    )
    quantity = tables.Column(accessor="line__quantity", attrs=BOTH)
    net = tables.Column(attrs=NUMBER)
    tax = tables.Column(attrs=NUMBER)
    gross = tables.Column(attrs=NUMBER)
    entry = tables.Column(
        accessor="line__entry_id",
        linkify=lambda record: reverse("entry", args=[record.line.entry_id]),
    )

    sheet = (
        (Column("Day", Kind.DATE), lambda row: row.line.entry.happened_on),
        (Column("Customer"), lambda row: str(row.sale.customer or "")),
        (Column("Place"), lambda row: str(row.sale.place)),
        (Column("Product"), lambda row: str(row.product or row.line.lot.item)),
        (Column("Lot"), lambda row: row.line.lot.code),
        (Column("Quantity sold"), lambda row: sold_text(row)),
        (Column("Net", Kind.MONEY), lambda row: row.net),
        (Column("Tax", Kind.MONEY), lambda row: row.tax),
        (Column("Gross", Kind.MONEY), lambda row: row.gross),
        (Column("Tax rate", Kind.RATIO), lambda row: row.tax_ppm),
        (Column("Entry", Kind.COUNT), lambda row: row.line.entry_id),
    )

    class Meta(ListTable.Meta):
        pass

    def render_day(self, value: date) -> str:
        return day(value)

    def render_to(self, record: SaleLine) -> str:
        return str(record.sale.customer or "—")

    def render_product(self, record: SaleLine) -> str:
        return str(record.product or record.line.lot.item)

    def render_quantity(self, record: SaleLine) -> str:
        return amount_of(-record.line.quantity, record.line.lot, self.farm)


class SaleFilter(django_filters.FilterSet):
    place = django_filters.ModelChoiceFilter(
        field_name="sale__place",
        queryset=SellingPlace.objects.all(),
        empty_label="all",
        label="Place",
    )
    customer = django_filters.ModelChoiceFilter(
        field_name="sale__customer",
        queryset=Customer.objects.all(),
        empty_label="all",
        label="Customer",
    )
    product = django_filters.ModelChoiceFilter(
        queryset=lambda request: products_sold(), empty_label="all", label="Product"
    )
    since = django_filters.DateFilter(
        field_name="line__entry__happened_on", lookup_expr="gte", label="From", widget=DAY
    )
    until = django_filters.DateFilter(
        field_name="line__entry__happened_on", lookup_expr="lte", label="To", widget=DAY
    )


ENTRIES = Listing("Entries", EntryTable, EntryFilter)
SALES = Listing("Sales", SaleTable, SaleFilter)


@page(Right.SEE_LOTS)
def entry_list(request: PageRequest) -> HttpResponse:
    initials = Person.objects.filter(pk=OuterRef("by")).values("initials")
    lines = Prefetch("lines", Line.objects.select_related("lot").order_by("pk"))
    rows = entries().annotate(initials=Subquery(initials)).prefetch_related(lines)
    return list_page(request, ENTRIES, visible_rows.entries(request.person, rows))


@page(Right.SEE_SALES)
def sale_list(request: PageRequest) -> HttpResponse:
    return list_page(request, SALES, sale_lines())


def sold_text(row: SaleLine) -> str:
    """The quantity sold in the lot's own unit; what came back is below zero."""
    quantity = -row.line.quantity
    weighed = row.line.lot.item.dimension == "mass"
    text = f"{abs(quantity) / 1_000_000:.3f} kg" if weighed else str(abs(quantity))
    return f"{MINUS}{text}" if quantity < 0 else text
