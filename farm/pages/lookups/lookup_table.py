"""The list of any look-up: its name, the columns it names, sorted and taken away."""

from collections.abc import Callable
from datetime import date

import django_filters
import django_tables2 as tables
from django.db.models import BooleanField, DateField, Field, IntegerField, Model
from django.urls import reverse

from farm.pages.lists import Listing, ListTable
from farm.pages.lookups.lookup_list import Lookup
from farm.reports.rows import Cell, Column, Kind
from farm.templatetags.farm_format import both, day, money, percent

WRAPPED = {"th": {"class": "long"}}
COUNTED = {"th": {"class": "num long"}, "td": {"class": "num"}}
KINDS = {"_mg": Kind.MASS, "_money": Kind.MONEY, "_ppm": Kind.RATIO}


def lookup_listing(lookup: Lookup, *, leads: bool) -> Listing:
    """Make the listing of a look-up, its filter a search in the first text field it has.

    Rows without a name of their own are named by their first column alone. ``leads``: whether a
    row leads to where it is changed.
    """
    named = lookup.shown[0] not in ("of", "action", "product", "customer")
    names = ["row", *lookup.shown] if named else [*lookup.shown]
    columns = {name: column_of(lookup, name) for name in names}
    columns[names[0]] = tables.Column(
        empty_values=(),
        orderable=not named,
        linkify=(lambda record: address_of(lookup, record)) if leads else None,
        **(
            {"verbose_name": "Name", "accessor": "pk"}
            if named
            else {"verbose_name": label_of(lookup, names[0])}
        ),
    )
    sheet = tuple((sheet_column(lookup, name), getter(name)) for name in names)
    shown = [
        name
        for name in lookup.shown
        if ending(name) or is_a(DateField, lookup, name) or is_a(BooleanField, lookup, name)
    ]
    renders = {f"render_{name}": render(name) for name in shown}
    meta = type("Meta", (ListTable.Meta,), {"sequence": names})
    table = type(
        "LookupTable",
        (ListTable,),
        {
            **columns,
            **renders,
            "sheet": sheet,
            "Meta": meta,
            **({"render_row": lambda self, record: str(record)} if named else {}),
        },
    )
    return Listing(lookup.title, table, filter_of(lookup), "farm/lookups/list.html")


def filter_of(lookup: Lookup) -> type[django_filters.FilterSet]:
    """Filter by the name where there is one, else by what the rows are of."""
    fields = {field.name for field in lookup.model._meta.fields}
    wanted = [
        name
        for name in (
            "name",
            "customer",
            "species",
            "room",
            "use",
            "makes",
            "product",
            "place",
            "of",
            "action",
            "kind",
            "form",
        )
        if name in fields
    ]
    if wanted[:1] == ["name"]:
        return type(
            "NameFilter",
            (django_filters.FilterSet,),
            {"name": django_filters.CharFilter(lookup_expr="icontains")},
        )
    meta = type("Meta", (), {"model": lookup.model, "fields": wanted[:2]})
    return type("RowFilter", (django_filters.FilterSet,), {"Meta": meta})


def address_of(lookup: Lookup, row: Model) -> str:
    if lookup.slug == "recipes":
        return reverse("recipe", args=[row.pk])
    return reverse("lookup-change", args=[lookup.slug, row.pk])


def column_of(lookup: Lookup, name: str) -> tables.Column:
    kinds = {field.name: field for field in lookup.model._meta.fields}
    counted = isinstance(kinds.get(name), IntegerField) and not kinds[name].choices
    attrs = COUNTED if counted else WRAPPED
    return tables.Column(
        attrs=attrs, verbose_name=label_of(lookup, name), orderable=name != "number"
    )


def label_of(lookup: Lookup, name: str) -> str:
    names = {field.name: field.verbose_name for field in lookup.model._meta.fields}
    label = str(names.get(name, name))
    return label[:1].upper() + label[1:]


def is_a(kind: type[Field], lookup: Lookup, name: str) -> bool:  # type: ignore[type-arg]
    fields = lookup.model._meta.fields
    return any(field.name == name and isinstance(field, kind) for field in fields)


def ending(name: str) -> str:
    return next((end for end in KINDS if name.endswith(end)), "")


def render(name: str) -> Callable[..., str]:
    """Show a figure by the unit that its name ends in, a day as everywhere, yes or no in words."""

    def shown(self: ListTable, value: int | date) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, date):
            return day(value)
        if name.endswith("_ppm"):
            return percent(value)
        return (money if name.endswith("_money") else both)(value, self.farm)

    return shown


def sheet_column(lookup: Lookup, name: str) -> Column:
    if name == "row":
        return Column("Name")
    return Column(label_of(lookup, name), KINDS.get(ending(name), Kind.TEXT))


def getter(name: str) -> Callable[[Model], Cell]:
    """Read a cell: whole numbers stay numbers, everything else is text."""

    def value(row: Model) -> Cell:
        if name == "row":
            return str(row)
        cell = getattr(row, f"get_{name}_display", lambda: getattr(row, name))()
        return cell if ending(name) else str("" if cell is None else cell)

    return value
