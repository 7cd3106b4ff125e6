"""The glossary: what the trade's words and the book's own mean."""

from dataclasses import dataclass

from django.http import HttpResponse

from farm.glossary import GLOSSARY, Word
from farm.pages.access import PageRequest, Right, page
from farm.pages.frame import show


@dataclass(frozen=True)
class GlossaryPage:
    parts: list[tuple[str, tuple[Word, ...]]]


@page(Right.READ)
def glossary(request: PageRequest) -> HttpResponse:
    return show(request, "farm/help/glossary.html", GlossaryPage(list(GLOSSARY.items())))
