"""The cost card: /card/ works it out as you type; saved versions; the scorecard of their ranges."""

from collections.abc import Mapping
from dataclasses import dataclass

from farm.actions.cards import Stated
from farm.models import SavedCard
from farm.pages.forms.card import ChoiceForm, NumberForm
from farm.pages.laid_out import AnswerPage
from farm.planning.inputs import Known, Names
from farm.planning.work import Worked
from farm.queries.came_true import CardOutcome


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
    saved: tuple[SavedCard, ...] = ()


@dataclass(frozen=True)
class SavedPage:
    headline: str
    answer: AnswerPage
    again: str


@dataclass(frozen=True)
class ScorePage:
    outcomes: tuple[CardOutcome, ...]
    inside: int
    of: int
