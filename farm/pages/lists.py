"""Lists: filtered, sorted, leafed through, and taken away as a spreadsheet."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.forms import Form
from django.http import HttpResponse
from django.utils import timezone
from django.utils.text import slugify

from farm.models import Farm
from farm.pages.access import PageRequest
from farm.pages.frame import show
from farm.pages.report_files import in_role
from farm.reports.rows import Cell, Column, Report, Table
from farm.reports.xlsx import workbook_bytes
from farm.templatetags.farm_format import money

PER_LEAF = 50
SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}
# A quantity in both systems, which may break between them on a narrow screen.
BOTH = {"th": {"class": "num"}, "td": {"class": "num both"}}

SheetColumn = tuple[Column, Callable[[Any], Cell]]


class ListTable(tables.Table):
    """``sheet``: the columns of the spreadsheet, and what a row puts into each."""

    sheet: ClassVar[tuple[SheetColumn, ...]] = ()
    farm: Farm

    @property
    def whole_sheet(self) -> tuple[SheetColumn, ...]:
        """The sheet's columns, with those that the rows alone cannot tell."""
        return self.sheet

    class Meta:
        empty_text = "Nothing fits. Change the filter, or take it off."


class AmountTable(ListTable):
    """A list whose rows state what is net, tax and gross."""

    def render_net(self, value: int) -> str:
        return money(value, self.farm)

    def render_tax(self, value: int) -> str:
        return money(value, self.farm)

    def render_gross(self, value: int) -> str:
        return money(value, self.farm)


@dataclass(frozen=True)
class Listing:
    """A list's title, how it is laid out, how it is filtered, and a word above it."""

    title: str
    table: type[ListTable]
    filters: type[django_filters.FilterSet]
    template: str = "farm/lists/list.html"


@dataclass(frozen=True)
class ListPage:
    """``count`` of ``whole`` rows are shown; ``take`` is the address of the spreadsheet."""

    title: str
    table: ListTable
    filter_form: Form
    count: int
    take: str
    hint: str


def list_page(
    request: PageRequest, listing: Listing, rows: QuerySet[Any], *, hint: str = ""
) -> HttpResponse:
    """Show a list, or hand it out whole as a spreadsheet (?take=xlsx)."""
    found = listing.filters(request.GET, queryset=rows)
    table = listing.table(found.qs)
    table.farm = request.farm
    taken = request.GET.get("take") == "xlsx"
    leaf = False if taken else {"per_page": PER_LEAF}
    tables.RequestConfig(request, paginate=leaf).configure(table)
    if taken:
        return spreadsheet(request, rows_of(listing.title, table))
    count = len(table.rows) if not table.page else table.paginator.count
    if not count and not rows.exists():
        table.empty_text = "Nothing is listed yet."
    address = request.GET.copy()
    address["take"] = "xlsx"
    shown = ListPage(
        title=listing.title,
        table=table,
        filter_form=found.form,
        count=count,
        take=f"?{address.urlencode()}",
        hint=hint,
    )
    return show(request, listing.template, shown)


def rows_of(title: str, table: ListTable) -> Table:
    """Turn a list, as it is filtered and sorted on the page, into plain rows."""
    sheet = table.whole_sheet
    columns = tuple(column for column, _ in sheet)
    cells = tuple(tuple(value(row.record) for _, value in sheet) for row in table.rows)
    return Table(title, columns, cells)


def spreadsheet(request: PageRequest, table: Table) -> HttpResponse:
    """Hand rows out as a spreadsheet."""
    report = Report(
        title=table.title,
        subtitle=request.farm.place,
        farm_name=request.farm.name,
        made_by=in_role(request.person),
        made_at=timezone.localtime(),
        tables=(table,),
        currency=request.farm.currency,
    )
    name = f"{slugify(table.title)}-{timezone.localdate()}.xlsx"
    return HttpResponse(
        workbook_bytes(report),
        content_type=SPREADSHEET,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
