"""Work a plan out whole: the card, the card without own hours, its range, its prices."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from farm.planning.card import Card, Place, Plan, card_of, without_own_hours
from farm.planning.pricing import Ask, DayBreakEven, ask_of_pack, day_break_even, floor_ask
from farm.planning.pricing import target_ask as target_of
from farm.planning.spread import Outlook, Own, Stated, outlook, spreads_of


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
    """A plan worked out; ``places`` begins with the plan's own selling place."""

    card: Card
    bare: Card
    outlook: Outlook
    spreads: Mapping[str, Stated | Own]
    places: tuple[PlaceAsk, ...]

    @property
    def here(self) -> PlaceAsk:
        return self.places[0]


def work_out(
    plan: Plan,
    records: Mapping[str, Sequence[float]],
    others: Sequence[tuple[Place, int | None]] = (),
    *,
    asked_money: int | None = None,
) -> Worked:
    """Work a plan out, and its prices at its own place and others (each with what it asks now)."""
    card = card_of(plan)
    spreads = spreads_of(plan, records)
    elsewhere = [(card_of(replace(plan, place=place)), asked) for place, asked in others]
    return Worked(
        card=card,
        bare=card_of(without_own_hours(plan)),
        outlook=outlook(card, spreads),
        spreads=spreads,
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
