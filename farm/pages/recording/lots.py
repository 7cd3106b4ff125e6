"""Lots: the list, one lot with its history, the stock stage by stage."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.safestring import mark_safe

from farm.models import Farm, Stage, Strain
from farm.pages import visible_rows
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page
from farm.pages.deeds import Deed, deeds_for
from farm.pages.fields import lot_name
from farm.pages.frame import show
from farm.pages.lists import BOTH, Listing, ListTable, list_page, spreadsheet
from farm.queries import stock
from farm.queries.entries import EntryRow, entries, rows_of
from farm.queries.keeping import past_words
from farm.queries.months.reconciliation import GOODS
from farm.queries.orders.allocations import SetAside, set_aside, words_of
from farm.queries.store.dryings import drying_of
from farm.queries.tracing.recalls import recalls_by_code
from farm.reports.rows import Column, Kind, Table
from farm.reports.store.drying_rows import balance_facts
from farm.templatetags.farm_format import amount_of, both, day
from ledger.codes import tidy
from ledger.models import Dimension, Lot

HELD = mark_safe('<span class="badge stop">on hold</span>')
YES_NO = (("yes", "on hand"), ("no", "used up"))


class LotTable(ListTable):
    code = tables.Column(
        linkify=lambda record: reverse("lot", args=[record.code]), attrs={"a": {"class": "code"}}
    )
    what = tables.Column(accessor="item__name", verbose_name="What it is")
    quantity = tables.Column(verbose_name="On hand", attrs=BOTH)
    stage = tables.Column(accessor="card__stage", verbose_name="Stage")
    made = tables.DateColumn(
        accessor="made_by__happened_on",
        verbose_name="Made",
        format="j M Y",
        attrs={"td": {"class": "day"}},
    )
    held = tables.Column(verbose_name="State")

    sheet = (
        (Column("Lot"), lambda lot: lot.code),
        (Column("What it is"), lambda lot: lot.item.name),
        (Column("Stage"), lambda lot: lot.card.get_stage_display()),
        (Column("Strain"), lambda lot: str(lot.card.strain or "")),
        (Column("On hand", Kind.MASS),
         lambda lot: lot.quantity if lot.item.dimension == Dimension.MASS else None),
        (Column("On hand, pieces", Kind.COUNT),
         lambda lot: lot.quantity if lot.item.dimension == Dimension.COUNT else None),
        (Column("Made", Kind.DATE), lambda lot: lot.made_by.happened_on),
        (Column("Harvested", Kind.DATE), lambda lot: lot.card.harvested_on),
        (Column("Supplier's lot"), lambda lot: lot.card.supplier_lot),
        (Column("On hold"), lambda lot: "yes" if lot.held else ""),
    )  # fmt: skip

    class Meta(ListTable.Meta):
        pass

    def render_what(self, record: Lot) -> str:
        return lot_name(record)

    def render_stage(self, record: Lot) -> str:
        return record.card.get_stage_display()

    def render_quantity(self, record: Lot) -> str:
        return amount_of(record.quantity, record, self.farm)

    def render_held(self, value: bool) -> str:
        return HELD if value else ""


class LotFilter(django_filters.FilterSet):
    """Without a word on it, only what is on hand is listed."""

    code = django_filters.CharFilter(label="Code", method="by_code")
    stage = django_filters.ChoiceFilter(
        field_name="card__stage", choices=Stage.choices, label="Stage", empty_label="all"
    )
    strain = django_filters.ModelChoiceFilter(
        field_name="card__strain",
        label="Strain",
        empty_label="all",
        queryset=Strain.objects.select_related("species"),
    )
    on_hand = django_filters.ChoiceFilter(
        choices=YES_NO, label="On hand", empty_label="either", method="by_hand"
    )
    held = django_filters.ChoiceFilter(
        choices=(("True", "on hold"),), label="Hold", empty_label="either"
    )

    def __init__(self, data: Mapping[str, Any], **known: Any) -> None:
        super().__init__({"on_hand": "yes", **{name: data[name] for name in data}}, **known)

    def by_code(self, lots: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        return lots.filter(code__contains=tidy(value))

    def by_hand(self, lots: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        return lots.filter(quantity__gt=0) if value == "yes" else lots.filter(quantity=0)


STOCK_COLUMNS = (
    Column("Stage"),
    Column("Lots", Kind.COUNT),
    Column("Weighed", Kind.MASS),
    Column("Counted, pieces", Kind.COUNT),
    Column("Lots on hold", Kind.COUNT),
)
# What of a lot is for those who grow it or look into its safety; a seller needs the rest.
OF_GROWING = ("Where", "Strain", "Grain generation", "Transfers", "Bags", "Jars", "Supplier",
              "Supplier's lot")  # fmt: skip
LOTS = Listing("Lots", LotTable, LotFilter, "farm/lots/lots.html")


@dataclass(frozen=True)
class LotPage:
    """``facts``: label and value. ``answers``: addresses of its trace and its cost, if built.

    ``recalls``: numbers of those that list it.
    """

    lot: Lot
    recalls: list[int]
    name: str
    facts: list[tuple[str, str]]
    history: list[EntryRow]
    deeds: list[Deed]
    answers: list[tuple[str, str]]


@dataclass(frozen=True)
class StockPage:
    stages: list[stock.StageStock]
    aside: list[SetAside]


@page(Right.SEE_LOTS)
def lots(request: PageRequest) -> HttpResponse:
    """List the lots; a whole code typed into the filter goes straight to its lot."""
    typed = request.GET.get("code", "")
    rows = visible_rows.lots(request.person, stock.all_lots().filter(card__isnull=False))
    if typed and rows.filter(code=tidy(typed)).exists():
        return redirect("lot", tidy(typed))
    near = rows.filter(code__in=stock.lots_near(typed)) if typed else rows.none()
    meant = ", ".join(found.code for found in near)
    hint = f"Did you mean {meant}? One sign of {typed} may be misread." if meant else ""
    return list_page(request, LOTS, rows, hint=hint)


@page(Right.SEE_LOTS)
def lot(request: PageRequest, code: str) -> HttpResponse:
    rows = visible_rows.lots(request.person, stock.all_lots())
    found = get_or_refuse(request, rows, Right.SEE_LOTS, code=tidy(code))
    stock.located([found])
    history = entries().filter(pk__in=stock.history(found).values("pk"))
    history = visible_rows.entries(request.person, history)
    shown = LotPage(
        lot=found,
        recalls=recalls_by_code([found.code])[found.code],
        name=lot_name(found),
        facts=facts_of(request, found),
        history=rows_of(history),
        deeds=deeds_for(found.card.stage, request.person, held=found.held),
        answers=answers_about(request, found),
    )
    return show(request, "farm/lots/lot.html", shown)


@page(Right.SEE_WORK)
def stock_page(request: PageRequest) -> HttpResponse:
    """Add up what is on hand, stage by stage; ?take=xlsx hands it out."""
    stages = stock.stock_by_stage()
    if request.GET.get("take") == "xlsx":
        cells = tuple(
            (one.stage.label, one.lots, one.mass_mg, one.pieces, one.held) for one in stages
        )
        return spreadsheet(request, Table("Stock", STOCK_COLUMNS, cells))
    return show(request, "farm/lots/stock.html", StockPage(stages, set_aside()))


def facts_of(request: PageRequest, found: Lot) -> list[tuple[str, str]]:
    """Say what is known of a lot, leaving out what is not."""
    card = found.card
    species = card.species or (card.strain.species if card.strain else None)
    known = {
        "Stage": card.get_stage_display(),
        "On hand": amount_of(found.quantity, found, request.farm),
        "Weight together": weight_of(found, request.farm),
        "Where": getattr(found, "where", ""),
        "Made": f"{day(found.made_by.happened_on)} ({found.made_by.kind})",
        "Strain": card.strain,
        "Species": card.species if not card.strain else None,
        "Cooking": species.cooking_note if species else None,
        "Recipe": card.recipe,
        "Grain generation": card.generation,
        "Transfers": card.transfers,
        "Jars" if card.in_jars else "Bags": card.bags,
        "Flush": card.flush,
        "Grade": card.get_grade_display(),
        "Harvested": card.harvested_on and day(card.harvested_on),
        "Product": card.product,
        "Supplier": card.supplier,
        "Supplier's lot": card.supplier_lot,
        "Made of what was past its days": past_words(found),
        "Best before": card.best_before and day(card.best_before),
    }
    hidden: tuple[str, ...] = () if may(request.person, Right.SEE_RECIPES) else ("Recipe",)
    if visible_rows.is_seller(request.person):
        hidden += OF_GROWING
    if may(request.person, Right.SEE_ORDERS):
        known["Set aside"] = _aside_words(found, request.farm)
    drying = drying_of(found) if card.stage == Stage.DRIED else None
    return [
        (label, str(value))
        for label, value in known.items()
        if value not in (None, "") and label not in hidden
    ] + (balance_facts(drying, request.farm) if drying else [])


def _aside_words(found: Lot, farm: Farm) -> str:
    """How much of a lot is promised, and to whom; empty where none is."""
    parts = [part for part in set_aside(of=[found.pk]) if part.quantity]
    quantity = sum(part.quantity for part in parts)
    return f"{amount_of(quantity, found, farm)} for {words_of(parts)}" if parts else ""


def weight_of(found: Lot, farm: Farm) -> str:
    """What the pieces of a counted lot weigh together, in both systems."""
    if found.item.dimension != Dimension.COUNT or not found.quantity:
        return ""
    return both(found.quantity * (found.unit_mass_mg or 0), farm)


def answers_about(request: PageRequest, found: Lot) -> list[tuple[str, str]]:
    code = found.code
    ways = [
        ("Trace", reverse("trace-of", args=[code]), Right.SEE_SAFETY),
        ("Hold or recall", f"{reverse('trace')}?codes={code}", Right.SEE_REACH),
        ("Cost", reverse("cost-of", args=[code]), Right.SEE_COSTS),
        *(
            [("Where it went", reverse("where-of", args=[code]), Right.SEE_WORK)]
            if found.card.stage in GOODS
            else []
        ),
    ]
    return [(label, address) for label, address, right in ways if may(request.person, right)]
