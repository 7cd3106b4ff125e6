"""The cost card: /card/ works it out as you type; /card/<number>/ is a saved version."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from farm.actions.costs.cards import Stated, save_card, stated_of, worked_out
from farm.models import Farm, SavedCard
from farm.pages.access import PageRequest, Right, get_or_refuse, may, page, require
from farm.pages.costs.card_forms import ChoiceForm, NumberForm, said
from farm.pages.frame import show
from farm.pages.report_page import AnswerPage, Way, laid_out
from farm.planning.card import Place
from farm.planning.card_sheet import SheetHead, card_sheet_bytes
from farm.planning.inputs import ALONE, INPUTS, Known, Names, place_from
from farm.planning.work import Worked
from farm.queries.costs.card_choice import (
    Choice,
    Offered,
    fitting_product,
    newest_batches,
    usual_choice,
)
from farm.queries.costs.card_inputs import CardInputs, card_inputs
from farm.queries.growing.experience import experience_of
from farm.reports.costs.card_rows import UsedNumber, card_report
from farm.reports.costs.card_words import headline
from farm.reports.files import MEDIA_TYPES
from farm.reports.pdf import pdf_bytes
from farm.reports.report_heading import made_for
from farm.reports.rows import Report
from ledger.errors import Refused


@dataclass(frozen=True)
class Story:
    """A card worked out, with everything that tells of it; ``stated`` is what saving keeps."""

    worked: Worked
    names: Names
    known: Mapping[str, Known]
    stated: Stated


@dataclass(frozen=True)
class CardPage:
    """``missing``: what the farm has to have before there can be a card."""

    missing: bool
    choice: ChoiceForm | None = None
    numbers: NumberForm | None = None
    refusal: str = ""
    headline: str = ""
    answer: AnswerPage | None = None
    query: str = ""
    may_save: bool = False


@dataclass(frozen=True)
class SavedPage:
    headline: str
    answer: AnswerPage
    again: str


@page(Right.SEE_COSTS)
def card(request: PageRequest) -> HttpResponse:
    """Show the card of what the address says; a POST saves the very same as a version."""
    batches = newest_batches()
    offered = Offered()
    usual = usual_choice(batches, offered)
    if usual is None:
        return show(request, "farm/card/card.html", CardPage(missing=True))
    form = _choice_form(request, usual, offered)
    if not form.is_valid():
        return show(request, "farm/card/card.html", CardPage(missing=False, choice=form))
    choice = form.choice()
    own = experience_of(choice.strain)
    found = card_inputs(
        choice, timezone.localdate(), own=own, batches=batches, places=offered.places
    )
    numbers = NumberForm(request.GET, farm=request.farm, found=found)
    shown = CardPage(missing=False, choice=form, numbers=numbers, query=request.GET.urlencode())
    if not numbers.is_valid():
        return show(request, "farm/card/card.html", shown)
    try:
        typed, usual_way = numbers.typed(), offered.by_products
        said_here = stated_of(choice, found, usual=usual_way, typed=typed)
        story = _told(found, replace(said_here, query=shown.query))
        if request.method == "POST":
            return _save(request, story, choice)
    except Refused as refusal:
        return show(request, "farm/card/card.html", replace(shown, refusal=str(refusal)))
    return _answer(request, story, shown)


@page(Right.SEE_COSTS)
def saved_card(request: PageRequest, pk: int) -> HttpResponse:
    """Show a saved version from what was saved with it; later look-ups do not change it."""
    row = get_or_refuse(request, SavedCard.objects.all(), Right.SEE_COSTS, pk=pk)
    story = _story(Stated(**json.loads(row.stated)))
    made_on = timezone.localtime(row.made_at).date()
    report = _report(request, story, title=f"{row}, saved {made_on}")
    if (file := _file(request, story, report)) is not None:
        return file
    again = f"{reverse('card')}?{story.stated.query}"
    said = headline(story.worked, story.names, request.farm.currency)
    return show(request, "farm/card/saved.html", SavedPage(said, _laid_out(request, report), again))


# --- what the card is of ---------------------------------------------------------------------


def _choice_form(request: PageRequest, usual: Choice, offered: Offered) -> ChoiceForm:
    """Fill in what the address leaves out, and a pack of the strain's own species."""
    data = {
        "strain": usual.strain.pk,
        "recipe": usual.recipe.pk,
        "product": usual.product.pk,
        "place": usual.place.pk,
        "steriliser": usual.steriliser.pk if usual.steriliser else "",
        **request.GET.dict(),
    }
    form = ChoiceForm(data, farm=request.farm, offered=offered)
    if form.is_valid() and (fitting := fitting_product(form.choice(), offered)):
        form = ChoiceForm({**data, "product": fitting.pk}, farm=request.farm, offered=offered)
    return form


def _told(found: CardInputs, stated: Stated) -> Story:
    """Tell the story of a card with what to ask at the other selling places beside it."""
    others = []
    for one in found.elsewhere:
        known = {key: value.value for key, value in one.values.items()}
        known["tax_ppm"] = found.values["tax_ppm"].value
        others.append((place_from(known, one.place.name), one.asked_money))
    return _story(stated, others)


def _story(stated: Stated, others: Sequence[tuple[Place, int | None]] = ()) -> Story:
    worked = worked_out(stated, others)
    values = {**ALONE, **stated.values}  # a card may be older than what is sold beside
    known = {key: Known(value, stated.sources.get(key, "")) for key, value in values.items()}
    return Story(worked, Names(**stated.names), known, stated)


# --- shown, saved, taken away ----------------------------------------------------------------


def _answer(request: PageRequest, story: Story, shown: CardPage) -> HttpResponse:
    report = _report(request, story)
    if (file := _file(request, story, report)) is not None:
        return file
    return show(
        request,
        "farm/card/card.html",
        replace(
            shown,
            headline=headline(story.worked, story.names, request.farm.currency),
            answer=_laid_out(request, report),
            may_save=may(request.person, Right.CHANGE_FARM),
        ),
    )


def _save(request: PageRequest, story: Story, choice: Choice) -> HttpResponse:
    require(request, Right.CHANGE_FARM)
    row = save_card(
        request.POST.get("name", "").replace("\0", "")[:80],
        story.worked,
        story.stated,
        strain=choice.strain,
        by=request.person,
        at=timezone.now(),
    )
    messages.success(request, f"Saved {row}. Its range will be compared with what comes true.")
    return HttpResponseRedirect(reverse("card-saved", args=[row.pk]))


def _report(request: PageRequest, story: Story, *, title: str = "") -> Report:
    made = made_for(request.farm, str(request.person), timezone.now())
    used = _used(story, request.farm)
    return card_report(story.worked, story.names, made, used=used, title=title)


def _used(story: Story, farm: Farm) -> list[UsedNumber]:
    """Every number as a person reads it, with its source; a counted loss stands for the share."""
    used = []
    for key, one in INPUTS.items():
        known = story.known[key]
        label = f"{one.label}, {one.per}".removesuffix(", ")
        if key == "loss_ppm" and "lost_count" in story.known:
            count = story.known["lost_count"]
            used.append(UsedNumber("Blocks lost, counted", str(count.value), count.source))
            continue
        used.append(UsedNumber(label, said(one.kind, known.value, farm), known.source))
    way = story.known["taken_off"]
    shown = "taken off the cost of the crop" if way.value else "share the cost by worth"
    return [*used, UsedNumber("Trim and spent blocks", shown, way.source)]


def _laid_out(request: PageRequest, report: Report) -> AnswerPage:
    files = []
    for label, ending in (("PDF", "pdf"), ("Spreadsheet with formulas", "xlsx")):
        query = request.GET.copy()
        query["file"] = ending
        files.append(Way(label, f"?{query.urlencode()}"))
    return laid_out(report, others=(), files=tuple(files), codes_lead_to="cost-of")


def _file(request: PageRequest, story: Story, report: Report) -> HttpResponse | None:
    """Hand the card over as a file where the address asks for one."""
    ending = request.GET.get("file", "")
    if ending not in MEDIA_TYPES:
        return None
    if ending == "pdf":
        content = pdf_bytes(report)
    else:
        head = SheetHead(
            report.title, report.currency, report.farm_name, report.made_by, report.made_at
        )
        content = card_sheet_bytes(story.worked.card, story.known, head)
    response = HttpResponse(content, content_type=MEDIA_TYPES[ending])
    response["Content-Disposition"] = f'attachment; filename="cost-card.{ending}"'
    return response
