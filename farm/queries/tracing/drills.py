"""What a traceability drill lists: the lot both ways, its balance, and what is missing."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from secrets import choice
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from farm import habits
from farm.kinds.growing import STERILISER_RUN
from farm.models import Customer, Drill, LotCard, Stage
from farm.queries.finding import amount_in
from farm.queries.tracing.balance import Balance
from farm.queries.tracing.frozen_lists import Frozen, freeze, lot_of, thawed
from farm.queries.tracing.reach import Reach, reach_of
from farm.queries.tracing.suspects import suspect_lots
from farm.queries.tracing.trace_events import moved_of
from farm.queries.tracing.traces import TracedLot, cards_of, traced_lots
from farm.units import show_mass
from ledger.models import Flow, Line, Lot, Role
from ledger.tracing import composition


@dataclass(frozen=True)
class Drilled:
    """A drill's lists as they stood when they were complete. ``balance``: of the lot itself."""

    forward: Frozen
    behind: tuple[TracedLot, ...]
    runs: int
    contacts: int
    balance: Balance
    missing: tuple[str, ...]


def drilled(lot: Lot) -> dict[str, Any]:
    """Trace a lot both ways, balance it and say what is missing, as plain data to be kept."""
    reach = reach_of(suspect_lots([lot]))
    shares = composition(lot.pk)
    cards = {pk: card for pk, card in cards_of(shares).items() if pk != lot.pk}
    behind = traced_lots(
        cards,
        moved_of(cards),
        certain=frozenset(),
        shares={pk: amount_in(card.lot, shares[pk]) for pk, card in cards.items()},
    )
    contacts = Customer.objects.filter(pk__in=[one.customer_id for one in reach.recipients])
    known = set(contacts.exclude(contact="").values_list("pk", flat=True))
    in_runs = _in_runs(cards)
    return {
        "forward": freeze(reach),
        "behind": [asdict(one) for one in behind.values()],
        "runs": len(set(in_runs.values())),
        "contacts": len(known),
        "missing": [
            *_missing_forward(reach, known, lot),
            *_missing_behind(cards, set(in_runs)),
        ],
    }


def drilled_of(drill: Drill) -> Drilled:
    said = json.loads(drill.frozen)
    forward = thawed(said["forward"])
    (balance,) = (one for one in forward.balances if one.code == forward.codes[0])
    return Drilled(
        forward=forward,
        behind=tuple(lot_of(row) for row in said["behind"]),
        runs=said["runs"],
        contacts=said["contacts"],
        balance=balance,
        missing=tuple(said["missing"]),
    )


def sold_lots() -> QuerySet[Lot]:
    """Lots of which something was sold and not wholly brought back, newest first."""
    sold = Flow.objects.filter(lot=OuterRef("pk"), role=Role.SOLD).exclude(quantity=0)
    lots = Lot.objects.filter(Exists(sold), card__stage__gte=Stage.CROP)
    return lots.select_related("item", "made_by", "card").order_by("-made_by_id", "-pk")


def lot_by_chance(since: date) -> Lot | None:
    """Pick one lot made since a day and sold, each as likely as any other."""
    keys = list(sold_lots().filter(made_by__happened_on__gte=since).values_list("pk", flat=True))
    return sold_lots().get(pk=choice(keys)) if keys else None


def drills_kept() -> QuerySet[Drill]:
    """Every drill, newest first, with its signature if it has one."""
    return Drill.objects.select_related("lot__item", "by__user", "signature__by__user")


# --- what is missing -------------------------------------------------------------------------


def _missing_forward(reach: Reach, known: set[int], lot: Lot) -> list[str]:
    (balance,) = (one for one in reach.balances if one.code == lot.code)
    strangers = [one.number for one in reach.recipients if one.customer_id not in known]
    placeless = [one.code for one in reach.still_here if not one.shelf]
    open_loads = [
        f"{one.place} on {habits.short_day(one.day)}" for one in reach.unnamed if not one.settled
    ]
    places = sorted({one.place for one in reach.unnamed if one.place})
    return _asked(
        ("No telephone or e-mail is kept of {}. How are they reached?", strangers),
        ("Nobody's name is known of who bought at {}. How are they warned?", places),
        ("Not settled yet: {}. What was sold there?", open_loads),
        ("Where do these stand: {}?", placeless),
        ("{}. What explains it?", _unexplained(balance)),
        (
            "{} entries about these lots wait unfinished. What do they say?",
            [str(reach.waiting)] if reach.waiting else [],
        ),
    )


def _missing_behind(cards: dict[int, LotCard], in_runs: set[int]) -> list[str]:
    supplies = [card for card in cards.values() if card.stage == Stage.SUPPLY]
    heated = {pk: card for pk, card in cards.items() if card.stage in (Stage.GRAIN, Stage.BAGS)}
    return _asked(
        (
            "No supplier is kept of {}. Who delivered it?",
            [_named(card) for card in supplies if not card.supplier],
        ),
        (
            "No lot mark of the supplier is kept of {}. Where does it stand?",
            [_named(card) for card in supplies if not card.supplier_lot],
        ),
        (
            "No steriliser run is kept of {}. How was it treated?",
            [_named(card) for pk, card in heated.items() if pk not in in_runs],
        ),
    )


def _asked(*questions: tuple[str, Sequence[str]]) -> list[str]:
    """Ask each question that something is missing for, naming what: a few, and how many more."""
    return [words.format(_few(things)) for words, things in questions if things]


def _few(things: Sequence[str], most: int = 6) -> str:
    unique = list(dict.fromkeys(things))
    more = f" and {len(unique) - most} more" if len(unique) > most else ""
    return ", ".join(unique[:most]) + more


def _named(card: LotCard) -> str:
    return f"{card.lot.code} ({card.lot.item.name})"


def _unexplained(balance: Balance) -> list[str]:
    def words(quantity: int) -> str:
        return f"{quantity} pieces" if balance.counted else show_mass(quantity, "kg")

    said = []
    if balance.unexplained:
        said.append(f"{words(balance.unexplained)} of {words(balance.made)} are unexplained")
    if balance.counted_up:
        said.append(f"{words(balance.counted_up)} were sold beyond what the book held")
    return [" and ".join(said)] if said else []


def _in_runs(lots: Iterable[int]) -> dict[int, int]:
    """The standing steriliser run of each lot that was in one; one query."""
    lines = Line.objects.filter(lot__in=list(lots), entry__kind=STERILISER_RUN, entry__amends=None)
    standing = lines.standing()
    return dict(standing.values_list("lot_id", "entry_id"))
