"""Work a plan out whole: the card, the card without own hours, its range, its prices."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from farm.planning.card import Card, Place, Plan, card_of, without_own_hours
from farm.planning.grown import Records
from farm.planning.outlook import Outlook, outlook
from farm.planning.pricing import Ask, DayBreakEven, ask_of_pack, day_break_even, floor_ask
from farm.planning.pricing import target_ask as target_of
from farm.planning.spread import drawn, sources_of


@dataclass(frozen=True)
class PlaceAsk:
    """What to ask at a selling place; ``asked``: what is asked there now, if anything."""

    card: Card
    floor: Ask
    target: Ask
    asked: Ask | None

    @property
    def pays(self) -> Ask:
        """The price a day is held against: what is asked now if that earns, or the target."""
        if self.asked:
            kept = self.asked.net_kg_money * (1 - self.card.plan.place.taken)
            if kept > self.card.chain.sold:
                return self.asked
        return self.target

    @property
    def break_even(self) -> DayBreakEven:
        return day_break_even(self.card, self.pays)


@dataclass(frozen=True)
class Worked:
    """A plan worked out; ``places`` begins with the plan's own selling place.

    ``bare``: without own hours, as ``bare_floor`` is. ``sources``: of the spread of each cause.
    """

    card: Card
    bare: Card
    bare_floor: Ask
    outlook: Outlook
    sources: Mapping[str, str]
    places: tuple[PlaceAsk, ...]

    @property
    def here(self) -> PlaceAsk:
        return self.places[0]


def work_out(
    plan: Plan,
    records: Records,
    others: Sequence[tuple[Place, int | None]] = (),
    *,
    asked_money: int | None = None,
) -> Worked:
    """Work a plan out, and its prices at its own place and others (each with what it asks now)."""
    card, bare = card_of(plan), card_of(without_own_hours(plan))
    elsewhere = [(card_of(replace(plan, place=place)), asked) for place, asked in others]
    return Worked(
        card=card,
        bare=bare,
        bare_floor=floor_ask(bare),
        outlook=outlook(card, drawn(plan, records)),
        sources=sources_of(records),
        places=tuple(
            PlaceAsk(
                one,
                floor_ask(one),
                target_of(one, one.margin),
                ask_of_pack(one, asked) if asked else None,
            )
            for one, asked in [(card, asked_money), *elsewhere]
        ),
    )
