"""The five costs of a kilo: picked, saleable, packed, sold, sold at a place.

They are worked over the *cohort* of some block lots: everything picked, dried and packed of them,
each lot with the share of it that is credited to those blocks. Shares are exact fractions, worked
in the order of making (never by products along paths): a made lot's share is the share of each
lot it was made of, weighed by how much of that lot is in it.

Let cost and kg be those of the cohort, each lot's times its share.

* picked: cost carried into picked lots, picking included / kg picked, all grades.
* saleable: the same cost / kg of firsts and seconds.
* packed: (cost carried into packs + cost lost before packing) / kg packed. What was sold loose
  counts as packed with itself.
* sold (before selling costs): (cost of what was sold, less what came back, + cost lost from
  picks and packs) / kg sold.
* sold at a place (after selling costs): (cost of what was sold there + its part of the losses,
  by kg sold + its part of the place's selling costs, by kg sold in the same entry) / kg sold there.

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

from farm.models import Form, Grade, LotCard, Sale, SellingCost, Stage
from farm.queries.finding import amount_of
from ledger.models import KINDS, Edge, Flow, Line, Lot, Role
from ledger.tracing import ancestors, descendants

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


def kilos_from(lot: Lot) -> Kilos:
    """Work out the costs of a kilo of the blocks that a lot is, went into, or came from."""
    roots = _blocks_of(lot)
    if not roots:
        return Kilos((), (), (), ())
    shares = _shares(roots)
    blocks = Lot.objects.filter(pk__in=shares, card__stage=Stage.BLOCKS).order_by("pk")
    sums = _sums(shares)
    names: dict[int, str] = dict(
        Sale.objects.filter(place__in=[key[3] for key in sums if key[0] == "sold"])
        .order_by("place__name")
        .values_list("place_id", "place__name")
    )
    fresh = [*_picked(sums), *_sold(sums, FRESH, loose=Stage.CROP, places=names)]
    dried = [*_dried(sums), *_sold(sums, DRIED, loose=Stage.DRIED, places=names)]
    return Kilos(
        blocks=tuple(block.code for block in blocks if block.pk in roots),
        provisional=tuple(block.code for block in blocks if block.shares_open),
        fresh=tuple(fresh),
        dried=tuple(dried) if ("made", DRIED, Stage.DRIED) in sums else (),
    )


# --- the cohort ------------------------------------------------------------------------------


def _blocks_of(lot: Lot) -> set[int]:
    """Find the block lots to ask about: the lot itself, those made with it, or those behind it.

    Stops at the first block lots on the way: a culture cloned from a pick starts another story.
    """
    stage = lot.card.stage
    if stage == Stage.BLOCKS:
        return {lot.pk}
    forward = stage < Stage.BLOCKS
    reached = (descendants if forward else ancestors)([lot.pk])
    stages = dict(LotCard.objects.filter(lot__in=reached).values_list("lot_id", "stage"))
    rows = Edge.objects.filter(src__in=reached, dst__in=reached)
    steps: dict[int, set[int]] = defaultdict(set)
    for src, dst in rows.values_list("src_id", "dst_id"):
        steps[src if forward else dst].add(dst if forward else src)
    found, seen, waiting = set(), {lot.pk}, [lot.pk]
    while waiting:
        for near in steps[waiting.pop()] - seen:
            seen.add(near)
            if stages[near] == Stage.BLOCKS:
                found.add(near)
            elif (stages[near] < Stage.BLOCKS) == forward:
                waiting.append(near)
    return found


def _shares(roots: set[int]) -> dict[int, Fraction]:
    """Say for each lot of the cohort which part of it comes from the roots."""
    edges = Edge.objects.filter(
        dst__in=descendants(roots),
        src__card__stage__gte=Stage.BLOCKS,
        dst__card__stage__gte=Stage.BLOCKS,
    ).order_by("dst__made_by_id", "dst_id")
    inputs: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for dst, src, quantity in edges.values_list("dst_id", "src_id", "quantity"):
        inputs[dst].append((src, quantity))
    shares = dict.fromkeys(roots, Fraction(1))
    for dst, parts in inputs.items():
        whole = sum(quantity for _, quantity in parts)
        ours = sum((quantity * shares.get(src, Fraction(0)) for src, quantity in parts), Fraction())
        if ours and dst not in roots:
            shares[dst] = ours / whole
    return shares


# --- what happened to it ---------------------------------------------------------------------


def _sums(shares: dict[int, Fraction]) -> Sums:
    """Add up five kinds of cost, and mg, by what happened, form, stage and (if sold) place."""
    sums: Sums = defaultdict(lambda: [Fraction()] * (len(KINDS) + 1))
    cards = LotCard.objects.filter(lot__in=shares, stage__in=FOOD)
    known = {card.pk: card for card in cards.select_related("lot__item", "product")}
    places = _places_of_sales(known)
    for flow in Flow.objects.filter(lot__in=known).exclude(role=Role.USED):
        card = known[flow.lot_id]
        form = _form(card)
        mass_mg = amount_of(flow.quantity, card.lot.item.dimension, card.lot.unit_mass_mg).mass_mg
        what = [share * shares[card.pk] for share in (*flow.cost, mass_mg or 0)]
        if flow.role == Role.MADE:
            _add(sums, ("made", form, card.stage), what)
            if card.grade == Grade.TRIM:
                _add(sums, ("trim", form, card.stage), what)
        elif flow.role in (Role.LOST, Role.STRANDED):
            _add(sums, ("lost", form, card.stage), [-number for number in what])
        elif flow.role in (Role.SOLD, Role.BACK):
            place = places.get((flow.lot_id, flow.entry_id))
            _add(sums, ("sold", form, card.stage, place), [-number for number in what])
    _add_selling_costs(sums, shares, known)
    return sums


def _form(card: LotCard) -> str:
    if card.product:
        return card.product.form
    return DRIED if card.stage == Stage.DRIED else FRESH


def _add(sums: Sums, key: Key, what: Iterable[Fraction]) -> None:
    sums[key] = [a + b for a, b in zip(sums[key], what, strict=True)]


def _places_of_sales(lots: Iterable[int]) -> dict[tuple[int, int], int]:
    """Say where each (lot, entry) was sold; what came back belongs to where it was sold."""
    sold = dict(Sale.objects.filter(entry__lines__lot__in=lots).values_list("entry_id", "place_id"))
    lines = Line.objects.filter(lot__in=lots, role__in=(Role.SOLD, Role.BACK))
    rows = lines.values_list("lot_id", "entry__place", "returns__entry__place")
    return {
        (lot, place): sold[returned or place]
        for lot, place, returned in rows
        if (returned or place) in sold
    }


def _add_selling_costs(sums: Sums, shares: dict[int, Fraction], cards: dict[int, LotCard]) -> None:
    """Give the cohort its part, by kg sold, of what selling cost in each entry it was sold in."""
    sales = Sale.objects.filter(entry__lines__lot__in=cards, entry__lines__role=Role.SOLD)
    entries = set(sales.values_list("entry_id", flat=True))
    whole, ours = _sold_in(entries, shares, cards)
    # The share of takings goes back with the money, in the entry of what came back.
    backs = Line.objects.filter(role=Role.BACK, returns__entry__in=entries)
    sale_of = dict(backs.values_list("entry__place", "returns__entry__place"))
    costs = SellingCost.objects.filter(entry__place__in=[*entries, *sale_of])
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
    picked = _total(sums, ("made", FRESH, Stage.CROP))
    trim = _total(sums, ("trim", FRESH, Stage.CROP))
    saleable = [*picked[:-1], picked[-1] - trim[-1]]
    return [
        _kilo(
            "picked",
            "cost of all picks / kg picked, all grades",
            picked,
            blank="Nothing picked yet.",
        ),
        _kilo(
            "saleable",
            "cost of all picks / kg of firsts and seconds",
            saleable,
            blank="No firsts or seconds picked yet.",
        ),
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
