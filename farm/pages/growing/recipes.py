"""Recipes: each version with its moisture; a new version is made from the last."""

from dataclasses import dataclass

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from farm.actions.growing.filling import lines_mix
from farm.actions.lookups.lookups import new_version
from farm.models import Recipe, RecipeLine, RecipeVersion
from farm.moisture import Mix
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.frame import show
from farm.pages.lookups.lookup_forms import VersionForm, shown_quantity
from farm.units import UnitError


@dataclass(frozen=True)
class VersionShown:
    """One version in words; ``mix`` None where nothing in it can be weighed."""

    version: RecipeVersion
    lines: list[tuple[RecipeLine, str]]
    mix: Mix | None


@dataclass(frozen=True)
class RecipePage:
    recipe: Recipe
    versions: list[VersionShown]


@dataclass(frozen=True)
class VersionPage:
    recipe: Recipe
    form: VersionForm


@page(Right.SEE_RECIPES)
def recipe(request: PageRequest, pk: int) -> HttpResponse:
    found = get_or_refuse(request, Recipe.objects.all(), Right.SEE_RECIPES, pk=pk)
    versions = found.versions.prefetch_related("lines__supply__item").order_by("-number")
    shown = [as_shown(request, version) for version in versions]
    return show(request, "farm/lookups/recipe.html", RecipePage(found, shown))


@page(Right.CHANGE_FARM)
def add_version(request: PageRequest, pk: int) -> HttpResponse:
    """Make the next version, prefilled with the last."""
    found = get_or_refuse(request, Recipe.objects.all(), Right.CHANGE_FARM, pk=pk)
    last = found.versions.order_by("-number").first()
    data = request.POST if request.method == "POST" else None
    form = VersionForm(data, farm=request.farm, last=last)
    if data is not None and form.is_valid():
        said = form.cleaned_data
        version = new_version(
            found,
            water_mg=said["water_mg"],
            planned_loss_ppm=said["planned_loss_ppm"] or 0,
            lines=form.lines,
            note=said["note"],
        )
        messages.success(request, f"{version} stands now.")
        return redirect("recipe", pk)
    return show(request, "farm/lookups/version.html", VersionPage(found, form))


def as_shown(request: PageRequest, version: RecipeVersion) -> VersionShown:
    """Tell a version whose lines, with their supplies and items, were fetched with it."""
    lines = version.lines.all()
    shown = [(line, shown_quantity(line.quantity, line.supply, request.farm)) for line in lines]
    try:
        mix = lines_mix(lines, version.water_mg)
    except UnitError:
        mix = None
    return VersionShown(version, shown, mix)
