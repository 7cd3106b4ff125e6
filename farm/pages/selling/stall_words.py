"""A stall day in words and sums, as its page lays it out: what it earned, what the till held."""

from dataclasses import dataclass
from fractions import Fraction

from farm.models import Farm, Given, StallDay
from farm.queries.selling.cash import Cash
from farm.queries.selling.stall_days import Earned, ItemRow, Usual
from farm.steps import share_steps
from farm.templatetags.farm_format import money
from farm.units import MONEY_PER_CENT, show_mass
from ledger.models import Dimension


@dataclass(frozen=True)
class MoneyLine:
    """One line of a sum; ``is_sum``: it adds up the lines above it."""

    label: str
    words: str
    is_sum: bool = False
    hint: str = ""


@dataclass(frozen=True)
class ShownItem:
    name: str
    took: str
    sold: str
    given: str
    back: str
    gross: str


def head_of(earned: Earned, farm: Farm, *, takes: bool, sees_costs: bool) -> str:
    if sees_costs:
        lost = earned.without_own < 0
        return f"The day {'lost' if lost else 'earned'} {money(abs(earned.without_own), farm)}"
    return f"The day took {money(earned.gross, farm)}" if takes else "The day is settled"


def said_of(earned: Earned, usual: Usual | None, *, load: StallDay, farm: Farm) -> list[str]:
    """Say what an hour brought, and what is usual, with the number of days behind it."""
    said = []
    hour = earned.per_hour(earned.without_own)
    if hour is not None:
        said.append(f"{money(hour, farm)} for each of the {hours(earned.minutes)} at the stall.")
    if usual:
        days = f"the last {usual.days} days" if usual.days > 1 else "one day before"
        said.append(
            f"A usual {load.day:%A} earns {money(usual.without_own, farm)} and takes "
            f"{money(usual.gross, farm)} (median of {days})."
        )
    return said


def earned_lines(earned: Earned, farm: Farm) -> list[MoneyLine]:
    """From what was taken to what is left, before own hours and after; the printed lines add up."""
    given = sum(earned.given.values()) - earned.own_given
    parts = [
        ("Taken", earned.gross, ""),
        ("Sales tax in it", -earned.tax, ""),
        ("What was sold had cost", earned.own_cost - earned.cost, "own hours left out"),
        (f"{_given_words(earned)} had cost", -given, ""),
        ("Stall", -earned.fees, ""),
        ("Cards", -earned.cards, ""),
        ("Paid hours", -earned.paid_hours, ""),
    ]
    known = [part for part in parts if part[1]]
    cents = share_steps([amount for _, amount, _ in known], MONEY_PER_CENT)
    before = sum(cents) * MONEY_PER_CENT
    after, own_hour = _to_cent(earned.with_own), earned.per_hour(earned.with_own)
    return [
        *(
            MoneyLine(label, money(cent * MONEY_PER_CENT, farm), hint=hint)
            for (label, _, hint), cent in zip(known, cents, strict=True)
        ),
        MoneyLine("Earned, for own hours", money(before, farm), is_sum=True),
        MoneyLine(
            "Own hours, at the stall and growing",
            money(after - before, farm),
            hint=f"{hours(earned.own_minutes)} at the stall",
        ),
        MoneyLine(
            "Left after own hours",
            money(after, farm),
            is_sum=True,
            hint="" if own_hour is None else f"{money(own_hour, farm)} an hour at the stall",
        ),
    ]


def _to_cent(amount: int) -> int:
    """Round half to even, as sums are printed."""
    return round(Fraction(amount, MONEY_PER_CENT)) * MONEY_PER_CENT


def cash_lines(cash: Cash, farm: Farm) -> list[MoneyLine]:
    """What should lie in the till, what was counted, and the difference, without a judgement."""
    kept, difference = cash.kept, cash.difference_money
    outs = (
        ("By card", kept.card_money),
        ("In tokens", cash.token_money),
        ("Paid out of the till", kept.paid_out_money),
    )
    word = "More than expected" if difference > 0 else "Less than expected"
    counted = f"count {cash.counts}" if cash.counts > 1 else ""
    return [
        MoneyLine("Float", money(kept.float_money, farm)),
        MoneyLine("Sold", money(cash.sales_money, farm)),
        *(MoneyLine(label, money(-amount, farm)) for label, amount in outs if amount),
        MoneyLine("So there should be", money(cash.expected_money, farm), is_sum=True),
        MoneyLine(f"Counted by {kept.by.initials}", money(kept.cash_money, farm), hint=counted),
        MoneyLine(
            word if difference else "As expected",
            money(abs(difference), farm),
            is_sum=True,
            hint=kept.get_word_display() if kept.word else "",
        ),
    ]


def shown_item(row: ItemRow, farm: Farm, *, takes: bool) -> ShownItem:
    def amount(quantity: int) -> str:
        if not quantity:
            return ""
        counted = row.item.dimension == Dimension.COUNT
        return str(quantity) if counted else show_mass(quantity, farm.weight_unit)

    return ShownItem(
        row.item.name,
        amount(row.took),
        amount(row.sold),
        amount(row.given),
        amount(row.back),
        money(row.gross, farm) if takes else "",
    )


def hours(minutes: int) -> str:
    """Minutes as people say them: 330 is “5 h 30 min”."""
    whole, rest = divmod(minutes, 60)
    return " ".join(filter(None, (f"{whole} h" * bool(whole), f"{rest} min" * bool(rest)))) or "0 h"


def _given_words(earned: Earned) -> str:
    words = [Given(why).label for why in earned.given]
    return ", ".join(words).capitalize()
