"""Look-ups: what the farm knows of itself; one small set of views for all of them."""

from dataclasses import dataclass

from django.contrib import messages
from django.db.models import Model
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from farm.models import Farm, the_farm
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.frame import show
from farm.pages.lists import list_page
from farm.pages.lookups.lookup_form import LookupForm
from farm.pages.lookups.lookup_forms import lookup_form
from farm.pages.lookups.lookup_list import BY_SLUG, LOOKUPS, Lookup
from farm.pages.lookups.lookup_table import lookup_listing
from farm.pages.ways_out import THEN, lead_on
from farm.queries.starting.first_hour import is_past

FARM_FIELDS = ("name", "place", "time_zone", "currency", "weight_unit", "habit", "altitude_m",
               "reclaims_purchase_tax", "tax_number", "exemption_words", "simple_limit_money",
               "payment_days", "pay_to", "company_prefix", "gln")  # fmt: skip


@dataclass(frozen=True)
class LookupsPage:
    lookups: list[Lookup]


@dataclass(frozen=True)
class LookupFormPage:
    title: str
    hint: str
    form: LookupForm
    back: str


@page(Right.SEE_WORK)
def lookups(request: PageRequest) -> HttpResponse:
    shown = [lookup for lookup in LOOKUPS if may(request.person, lookup.right)]
    return show(request, "farm/lookups/index.html", LookupsPage(shown))


@page(Right.SEE_WORK)
def lookup_rows(request: PageRequest, slug: str) -> HttpResponse:
    """List one look-up's rows, for who has the right to them."""
    lookup = named(slug)
    require(request, lookup.right)
    named_too = [field.name for field in lookup.model._meta.fields if field.many_to_one]
    rows = lookup.model._default_manager.select_related(*named_too)
    changes = may(request.person, Right.CHANGE_FARM) and not lookup.is_kept
    leads = lookup.slug == "recipes" or changes
    return list_page(request, lookup_listing(lookup, leads=leads), rows, hint=lookup.hint)


@page(Right.CHANGE_FARM)
def add_row(request: PageRequest, slug: str) -> HttpResponse:
    return edit(request, named(slug), None)


@page(Right.CHANGE_FARM)
def change_row(request: PageRequest, slug: str, pk: int) -> HttpResponse:
    lookup = named(slug)
    if lookup.is_kept:
        raise Http404
    row = get_or_refuse(request, lookup.model._default_manager.all(), Right.CHANGE_FARM, pk=pk)
    return edit(request, lookup, row)


@page(Right.CHANGE_FARM)
def farm(request: PageRequest) -> HttpResponse:
    kind = lookup_form("farm", Farm, FARM_FIELDS)
    data = request.POST if request.method == "POST" else None
    form = kind(data, instance=the_farm(), farm=request.farm)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "The farm is changed.")
        return redirect(asked_by(request) or "lookups")
    shown = LookupFormPage(
        "The farm", "These head every record and report.", form, reverse("lookups")
    )
    return show(request, "farm/lookups/form.html", shown)


def edit(request: PageRequest, lookup: Lookup, row: Model | None) -> HttpResponse:
    """Show and take the form of one row, new when None."""
    kind = lookup_form(lookup.slug, lookup.model, lookup.fields)
    data = request.POST if request.method == "POST" else None
    form: LookupForm = kind(data, instance=row, farm=request.farm)
    then = asked_by(request)
    if data is not None and form.is_valid():
        saved = form.save()
        messages.success(request, f"{saved} is {'changed' if row else 'added'}.")
        if lookup.slug == "recipes":
            return redirect("recipe", saved.pk)
        if then:
            sign = "&" if "?" in then else "?"
            return redirect(f"{then}{sign}{lookup.model._meta.model_name}={saved.pk}")
        if row is None and not is_past():
            return redirect("first-hour")
        return redirect("lookup", lookup.slug)
    lead_on(form, request.person, back=request.get_full_path())
    title = f"Change {row}" if row else f"Add {lookup.one}"
    back = then or reverse("lookup", args=[lookup.slug])
    return show(request, "farm/lookups/form.html", LookupFormPage(title, lookup.hint, form, back))


def asked_by(request: PageRequest) -> str:
    """The form of this site that missed the row, and goes on with it once it is added."""
    then = request.GET.get(THEN, "")
    return then if url_has_allowed_host_and_scheme(then, allowed_hosts=None) else ""


def named(slug: str) -> Lookup:
    lookup = BY_SLUG.get(slug)
    if lookup is None:
        raise Http404
    return lookup
