"""What is sold: packs of a product, or what is loose by species, state and grade."""

from typing import NamedTuple

from django.db import models

from farm.models.growing.growing import Species
from farm.models.trading import Product


class Loose(models.TextChoices):
    """The state of what is sold by weight, without a pack."""

    FRESH = "fresh", "fresh"
    DRIED = "dried", "dried"
    SPENT = "spent", "spent blocks"
    SPAWN = "spawn", "grain spawn"


class Grade(models.TextChoices):
    FIRSTS = "firsts", "firsts"
    SECONDS = "seconds", "seconds"
    TRIM = "trim", "trim"


class LooseGoods(NamedTuple):
    """What is sold loose: a species in a state, and where it is fresh of a grade."""

    species: Species
    state: str
    grade: str = ""

    @classmethod
    def of(cls, species: Species, state: str, grade: str = "") -> "LooseGoods":
        """Fresh without a grade is firsts; nothing else is graded."""
        fresh = state == Loose.FRESH
        return cls(species, state, (grade or Grade.FIRSTS) if fresh else "")

    @property
    def is_usual(self) -> bool:
        """Fresh firsts are what is meant where nothing else is said."""
        return self.grade == Grade.FIRSTS

    def __str__(self) -> str:
        """“Oyster, loose”, “Oyster, seconds, loose”, “Oyster, spent blocks”."""
        if self.is_usual:
            return f"{self.species}, loose"
        label = Loose(self.state).label
        if self.state in (Loose.SPENT, Loose.SPAWN):
            return f"{self.species}, {label}"
        return f"{self.species}, {self.grade or label}, loose"


Goods = Product | LooseGoods
