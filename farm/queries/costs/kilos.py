"""The five costs of a kilo: picked, saleable, packed, sold, sold at a place.

They are worked over the *cohort* of some block lots: everything picked, dried and packed of them,
each lot with the share of it that is credited to those blocks. Shares are exact fractions, worked
in the order of making (never by products along paths): a made lot's share is the share of each
lot it was made of, weighed by how much of that lot is in it.

Let cost and kg be those of the cohort, each lot's times its share.

* picked: cost carried into picked lots, picking included / kg picked, all grades.
* saleable: of these, cost of firsts and seconds / kg of firsts and seconds.
* packed: (cost carried into packs + cost lost before packing) / kg packed. What was sold loose
  counts as packed with itself.
* sold (before selling costs): (cost of what was sold, less what came back, + cost lost from
  picks and packs) / kg sold.
* sold at a place (after selling costs): (cost of what was sold there + its part of the losses,
  by kg sold + its part of the place's selling costs, by kg sold in the same entry) / kg sold there.

Trim is in picked only: from saleable on it is left out with its cost, whatever it carries, and
what it sold for stands beside. 8 kg of firsts, 1 kg of seconds and 3 kg of trim for 226.89, by
mass, all packed and sold: picked 18.91, and 25.21 from saleable to sold.

Losses divide, never subtract. What is dried leaves the fresh kilos and has lines of its own, per
kg dried, so that nothing counts twice. What is still in stock is in none of the divisions beyond
the step it has reached. Blocks lost beyond plan before the first pick are losses of their period
and in no kilo; the planned loss has made the others dearer.

100 blocks at 5.27, 7 lost as planned, 0.56699 kg from each good one: 9.9944 per kg picked.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Sum

from farm.models import Form, LotCard, SellingCost, Stage
from farm.queries.finding import amount_of
from farm.queries.growing.trim import TrimSold, Untrimmed, trim_sold, untrimmed_of
from ledger.models import KINDS, Flow, Line, Lot, Role
from ledger.tracing import Kin, ahead, behind

Cost = tuple[int, ...]
Key = tuple[str | int | None, ...]
Sums = dict[Key, list[Fraction]]
OWN = KINDS.index("own")
MG_PER_KG = 1_000_000
FOOD = (Stage.CROP, Stage.DRIED, Stage.PACKS)
FRESH, DRIED = Form.FRESH.value, Form.DRIED.value


@dataclass(frozen=True)
class Kilo:
    """One named cost of a kilo with its basis: cost over mass; ``blank`` says why there is none."""

    name: str
    basis: str
    cost: Cost
    mass_mg: int
    blank: str = ""

    @property
    def per_kg(self) -> int | None:
        """Money per kg, rounded half to even: 527.0000 over 52.73 kg is 9.9943."""
        return self._divided(sum(self.cost))

    @property
    def per_kg_without_own(self) -> int | None:
        return self._divided(sum(self.cost) - self.cost[OWN])

    def _divided(self, cost: int) -> int | None:
        return None if self.blank else round(Fraction(cost * MG_PER_KG, self.mass_mg))


@dataclass(frozen=True)
class Kilos:
    """The costs of a kilo from some block lots; provisional while a flush is still to come."""

    blocks: tuple[str, ...]
    provisional: tuple[str, ...]
    fresh: tuple[Kilo, ...]
    dried: tuple[Kilo, ...]
    trim: TrimSold | None = None


@dataclass(frozen=True)
class Past:
    """What is behind a lot: every lot with its stage, and which of them still await a flush."""

    kin: Kin
    stages: dict[int, int]
    awaiting: frozenset[int]


def kilos_from(lot: Lot, past: Past | None = None) -> Kilos:
    """Work out the costs of a kilo of the blocks that a lot is, went into, or came from.

    ``past``: what is behind a lot made of blocks, where it was read already. Twelve queries at
    most.
    """
    roots, kin, cards = _cohort(lot, past)
    if not roots:
        return Kilos((), (), (), ())
    shares = shares_of(roots, kin, cards)
    blocks = [cards[pk].lot for pk in sorted(shares) if cards[pk].stage == Stage.BLOCKS]
    sales = _sales_of([pk for pk in shares if cards[pk].stage in FOOD])
    untrimmed = untrimmed_of(kin, cards)
    sums = _sums(shares, cards, sales, untrimmed=untrimmed)
    fresh = [*_picked(sums), *_sold(sums, FRESH, loose=Stage.CROP, places=sales.names)]
    dried = [*_dried(sums), *_sold(sums, DRIED, loose=Stage.DRIED, places=sales.names)]
    return Kilos(
        blocks=tuple(block.code for block in blocks if block.pk in roots),
        provisional=tuple(block.code for block in blocks if block.shares_open),
        fresh=tuple(fresh),
        dried=tuple(dried) if ("made", DRIED, Stage.DRIED) in sums else (),
        trim=trim_sold(shares, untrimmed, _total(sums, ("trim sold",))[-1]),
    )


# --- the cohort ------------------------------------------------------------------------------


def past_of(lot: Lot) -> Past:
    """Read what is behind a lot; three queries."""
    kin = behind([lot.pk])
    cards = LotCard.objects.filter(lot__in=list(kin.born_at))
    rows = list(cards.values_list("lot_id", "stage", "lot__shares_open"))
    awaiting = frozenset(pk for pk, _, is_open in rows if is_open)
    return Past(kin, {pk: stage for pk, stage, _ in rows}, awaiting)


def _cohort(lot: Lot, past: Past | None) -> tuple[set[int], Kin, dict[int, LotCard]]:
    """Find the block lots to ask about, and all made of them: the lot itself, those made with it,
    or those behind it.
    """
    stage, roots = lot.card.stage, {lot.pk}
    if stage > Stage.BLOCKS:
        past = past or past_of(lot)
        roots = _first_blocks(lot.pk, past.kin, past.stages, forward=False)
    kin = ahead(roots)
    near = {edge.src for edge in kin.edges} | set(kin.born_at)
    found = LotCard.objects.filter(lot__in=near).select_related("lot__item", "product")
    cards = {card.pk: card for card in found}
    if stage < Stage.BLOCKS:
        stages = {pk: card.stage for pk, card in cards.items()}
        roots = _first_blocks(lot.pk, kin, stages, forward=True)
    return roots, kin, cards


def _first_blocks(lot: int, kin: Kin, stages: dict[int, int], *, forward: bool) -> set[int]:
    """Find the first block lots on the way.

    No further: a culture cloned from a pick starts another story.
    """
    steps: dict[int, set[int]] = defaultdict(set)
    for edge in kin.edges:
        near, far = (edge.src, edge.dst) if forward else (edge.dst, edge.src)
        steps[near].add(far)
    found, seen, waiting = set(), {lot}, [lot]
    while waiting:
        for near in steps[waiting.pop()] - seen:
            seen.add(near)
            if stages[near] == Stage.BLOCKS:
                found.add(near)
            elif (stages[near] < Stage.BLOCKS) == forward:
                waiting.append(near)
    return found


def shares_of(roots: set[int], kin: Kin, cards: dict[int, LotCard]) -> dict[int, Fraction]:
    """Say for each lot of the cohort which part of it comes from the roots."""
    inputs: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for edge in kin.edges:
        if min(cards[edge.src].stage, cards[edge.dst].stage) >= Stage.BLOCKS:
            inputs[edge.dst].append((edge.src, edge.quantity))
    shares = dict.fromkeys(roots, Fraction(1))
    for dst in kin.born_at:
        parts = inputs[dst]
        ours = sum((quantity * shares.get(src, Fraction(0)) for src, quantity in parts), Fraction())
        if ours and dst not in roots:
            shares[dst] = ours / sum(quantity for _, quantity in parts)
    return shares


# --- where it was sold -----------------------------------------------------------------------


@dataclass(frozen=True)
class _Sales:
    """Where some lots were sold: the place by lot and entry, the places' names in their order.

    ``entries``: those that sold some of them.
    """

    places: dict[tuple[int, int], int]
    names: dict[int, str]
    entries: frozenset[int]


def _sales_of(lots: Iterable[int]) -> _Sales:
    """Read where some lots were sold; what came back belongs to where it was sold. One query."""
    places, entries, names = {}, set(), {}
    lines = Line.objects.filter(lot__in=list(lots), role__in=(Role.SOLD, Role.BACK))
    sale, back_of = "entry__sale__place", "returns__entry__sale__place"
    where = (sale, f"{sale}__name", back_of, f"{back_of}__name")
    rows = lines.values_list("lot_id", "role", "entry_id", "entry__place", *where)
    for lot, role, entry, at, place, name, back_to, back_name in rows:
        found = back_to or place
        if not found:  # an amendment: the line it amends says where
            continue
        places[lot, at] = found
        names[found] = back_name or name
        if role == Role.SOLD:
            entries.add(entry)
    by_name = dict(sorted(names.items(), key=lambda one: one[1]))
    return _Sales(places, by_name, frozenset(entries))


# --- what happened to it ---------------------------------------------------------------------


def _sums(
    shares: dict[int, Fraction],
    cards: dict[int, LotCard],
    sales: _Sales,
    *,
    untrimmed: dict[int, Untrimmed],
) -> Sums:
    """Add up five kinds of cost, and mg, by what happened, form, stage and (if sold) place.

    But for what was picked, trim is left out.
    """
    sums: Sums = defaultdict(lambda: [Fraction()] * (len(KINDS) + 1))
    ours = {pk: cards[pk] for pk in shares if cards[pk].stage in FOOD}
    for flow in Flow.objects.filter(lot__in=ours).exclude(role=Role.USED):
        card = ours[flow.lot_id]
        form = _form(card)
        mass_mg = amount_of(flow.quantity, card.lot.item.dimension, card.lot.unit_mass_mg).mass_mg
        whole = [share * shares[card.pk] for share in (*flow.cost, mass_mg or 0)]
        parts = (*untrimmed[card.pk].cost, untrimmed[card.pk].mass)
        what = [number * part for number, part in zip(whole, parts, strict=True)]
        if flow.role == Role.MADE:
            _add(sums, ("made", form, card.stage), what)
            if card.stage == Stage.CROP:
                _add(sums, ("picked",), whole)
        elif flow.role in (Role.LOST, Role.STRANDED):
            _add(sums, ("lost", form, card.stage), [-number for number in what])
        elif flow.role in (Role.SOLD, Role.BACK):
            place = sales.places.get((flow.lot_id, flow.entry_id))
            _add(sums, ("sold", form, card.stage, place), [-number for number in what])
            _add(sums, ("trim sold",), [b - a for a, b in zip(whole, what, strict=True)])
    kept = {lot: shares[lot] * untrimmed[lot].mass for lot in ours}
    _add_selling_costs(sums, kept, cards=ours, entries=sales.entries)
    return sums


def _form(card: LotCard) -> str:
    if card.product:
        return card.product.form
    return DRIED if card.stage == Stage.DRIED else FRESH


def _add(sums: Sums, key: Key, what: Iterable[Fraction]) -> None:
    sums[key] = [a + b for a, b in zip(sums[key], what, strict=True)]


def _add_selling_costs(
    sums: Sums,
    shares: dict[int, Fraction],
    *,
    cards: dict[int, LotCard],
    entries: Iterable[int],
) -> None:
    """Give the cohort its part, by kg sold, of what selling cost in each entry it was sold in.

    ``shares``: those of lots, without their trim, which bears its own part.
    """
    whole, ours = _sold_in(entries, shares, cards)
    # The share of takings goes back with the money, in the entry of what came back.
    backs = Line.objects.filter(role=Role.BACK, returns__entry__in=entries)
    sale_of = dict(backs.values_list("entry__place", "returns__entry__place"))
    costs = SellingCost.objects.standing_at([*entries, *sale_of])
    totals = costs.values_list("entry__place", "place_id", "own").annotate(Sum("amount"))
    for entry, place, own, amount in totals.order_by():
        sale = sale_of.get(entry, entry)
        for form, mass_mg in ours[sale].items():
            part = [Fraction()] * (len(KINDS) + 1)
            part[OWN if own else 0] = amount * mass_mg / whole[sale] if mass_mg else Fraction()
            _add(sums, ("selling", form, place), part)


def _sold_in(
    entries: Iterable[int], shares: dict[int, Fraction], cards: dict[int, LotCard]
) -> tuple[dict[int, int], dict[int, dict[str, Fraction]]]:
    """Weigh what each entry sold: all of it, and the cohort's part by form; in mg."""
    whole: dict[int, int] = defaultdict(int)
    ours: dict[int, dict[str, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
    rows = Flow.objects.filter(entry__in=entries, role=Role.SOLD).values_list(
        "entry_id", "lot_id", "quantity", "lot__item__dimension", "lot__unit_mass_mg"
    )
    for entry, lot, quantity, dimension, unit_mass_mg in rows:
        mass_mg = amount_of(-quantity, dimension, unit_mass_mg).mass_mg or 0
        whole[entry] += mass_mg
        if lot in cards:
            ours[entry][_form(cards[lot])] += mass_mg * shares[lot]
    return whole, ours


# --- the divisions ---------------------------------------------------------------------------


def _picked(sums: Sums) -> list[Kilo]:
    picked = _total(sums, ("picked",))
    saleable = _total(sums, ("made", FRESH, Stage.CROP))
    basis = "cost of firsts and seconds / kg of firsts and seconds"
    return [
        _kilo(
            "picked",
            "cost of all picks / kg picked, all grades",
            picked,
            blank="Nothing picked yet.",
        ),
        _kilo("saleable", basis, saleable, blank="No firsts or seconds picked yet."),
    ]


def _dried(sums: Sums) -> list[Kilo]:
    dried = _total(sums, ("made", DRIED, Stage.DRIED))
    return [
        _kilo(
            "dried",
            "cost of what was dried, with drying / kg dried",
            dried,
            blank="Nothing dried yet.",
        )
    ]


def _sold(sums: Sums, form: str, *, loose: Stage, places: dict[int, str]) -> list[Kilo]:
    """Work out packed, sold, and sold at each place, for fresh or for dried."""
    lost_loose = _cost_only(_total(sums, ("lost", form, loose)))
    lost = _plus(lost_loose, _cost_only(_total(sums, ("lost", form, Stage.PACKS))))
    packed = _plus(_total(sums, ("made", form, Stage.PACKS)), _total(sums, ("sold", form, loose)))
    sold = _total(sums, ("sold", form))
    mark = "" if form == FRESH else "dried, "
    kilos = [
        _kilo(
            f"{mark}packed",
            "cost of packs and loose sales, and lost before packing / kg packed or sold loose",
            _plus(packed, lost_loose),
            blank="Nothing packed or sold loose yet.",
        ),
        _kilo(
            f"{mark}sold (before selling costs)",
            "cost of what was sold, and of what was lost / kg sold",
            _plus(sold, lost),
            blank="Nothing sold yet.",
        ),
    ]
    for place, name in places.items():
        here = _plus(
            _total(sums, ("sold", form, loose, place)),
            _total(sums, ("sold", form, Stage.PACKS, place)),
        )
        if here[-1]:
            part = [number * here[-1] / sold[-1] for number in lost]
            selling = _total(sums, ("selling", form, place))
            kilos.append(
                _kilo(
                    f"{mark}sold at {name} (after selling costs)",
                    f"the same at {name}, and its selling costs by kg / kg sold there",
                    _plus(_plus(here, part), selling),
                    blank="Nothing sold there yet.",
                )
            )
    return kilos


def _total(sums: Sums, start: Key) -> list[Fraction]:
    """Add up every sum whose key starts so."""
    total = [Fraction()] * (len(KINDS) + 1)
    for key, numbers in sums.items():
        if key[: len(start)] == start:
            total = _plus(total, numbers)
    return total


def _plus(one: list[Fraction], other: list[Fraction]) -> list[Fraction]:
    return [a + b for a, b in zip(one, other, strict=True)]


def _cost_only(numbers: list[Fraction]) -> list[Fraction]:
    return [*numbers[:-1], Fraction()]


def _kilo(name: str, basis: str, numbers: list[Fraction], *, blank: str) -> Kilo:
    """Round cost and mass once, half to even, at the end."""
    *cost, mass_mg = (round(number) for number in numbers)
    return Kilo(name, basis, tuple(cost), mass_mg, "" if mass_mg > 0 else blank)
