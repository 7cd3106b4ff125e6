"""A book of many lines, like a farm's, written in bulk: facts first, then worked by the full pass.

Supplier lots feed grain lots, grain and culture make spawn, spawn makes spawn, spawn and sawdust
make blocks, blocks give two or three picks, packs mix one to three picks and are sold. One bad lot
of grain is planted: for a while half the jars of every fourth round are filled from it.
"""

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from uuid import UUID

from django.db import transaction

from ledger import full_pass, sealing
from ledger.codes import lot_code
from ledger.models import Charge, Entry, Head, Item, Line, Lot, Seal

START = datetime(2025, 1, 1, 8, tzinfo=UTC)
YEAR_SECONDS = 365 * 86_400
LINES_A_ROUND = 145  # what one round of work writes, about
LINES_AN_ENTRY = 1.8  # at least: so that all entries fall into one year
KG = 1_000_000
BATCH = 500
UNIT_MASSES_MG = {"block": 2_268_000, "pack": 20_000}


@dataclass(frozen=True)
class Load:
    """A stall's load of two packs: one sold of it, the other wholly brought back."""

    entry: int
    sale: int
    packs: tuple[int, int]


@dataclass
class FarmYears:
    """Facts waiting to be written; ``left`` is what the writer knows to be in each lot."""

    random: random.Random
    items: dict[str, Item]
    pace_seconds: int
    entries: list[Entry] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    charges: list[Charge] = field(default_factory=list)
    blocks: list[int] = field(default_factory=list)
    loads: list[Load] = field(default_factory=list)
    planted: int = 0

    def entry(self, kind: str) -> int:
        seq = len(self.entries) + 1
        at = START + timedelta(seconds=seq * self.pace_seconds)
        self.entries.append(
            Entry(
                seq=seq,
                place=seq,
                kind=kind,
                happened_at=at,
                happened_on=at.date(),
                recorded_at=at,
                by=1,
                uuid=UUID(int=seq),
                fingerprint="",
            )
        )
        return seq

    def line(self, seq: int, lot: int, role: str, quantity: int, **numbers: int) -> None:
        self.lines.append(
            Line(
                pk=len(self.lines) + 1,
                entry_id=seq,
                lot_id=lot,
                role=role,
                quantity=quantity,
                **numbers,
            )
        )

    def new_lot(self, seq: int, item: str) -> int:
        number = len(self.lots) + 1
        self.lots.append(
            Lot(
                pk=number,
                code=lot_code(number),
                item=self.items[item],
                made_by_id=seq,
                unit_mass_mg=UNIT_MASSES_MG.get(item),
            )
        )
        return number

    def buy(self, item: str, quantity: int, money: int) -> int:
        seq = self.entry("buy")
        lot = self.new_lot(seq, item)
        self.line(seq, lot, "bought", quantity, money=money)
        return lot

    def make(self, used: dict[int, int], item: str, quantity: int, *, loss_ppm: int = 0) -> int:
        """Use some of each lot, charge an hour, make one new lot."""
        seq = self.entry("pack" if item == "pack" else "make")
        for lot, amount in used.items():
            self.line(seq, lot, "used", -amount)
        made = self.new_lot(seq, item)
        self.line(seq, made, "made", quantity, basis=1, planned_loss_ppm=loss_ppm)
        self.charges.append(
            Charge(entry_id=seq, kind="paid", amount=self.random.randint(1, 99_999))
        )
        return made

    def pick(self, block: int, given_mg: int, later_mg: int) -> int:
        seq = self.entry("pick")
        self.line(seq, block, "used", 0, given_mg=given_mg, later_mg=later_mg)
        made = self.new_lot(seq, "crop")
        self.line(seq, made, "made", given_mg, basis=1)
        return made

    def leave(self, lot: int, role: str, quantity: int, closes: int = 0) -> None:
        self.line(self.entry(role), lot, role, -quantity, closes=closes)

    def load(self, sold: int, brought_back: int) -> None:
        """Load two packs for a stall, sell some of one and bring the other back."""
        seq = self.entry("load stall")
        for pack in (sold, brought_back):
            self.line(seq, pack, "counted", 0)
        self.leave(sold, "sold", 3)
        self.loads.append(Load(seq, len(self.entries), (sold, brought_back)))

    def bring_back(self, quantity: int) -> None:
        """Take back some of what the last line sold."""
        sold = self.lines[-1]
        self.line(self.entry("take back"), sold.lot_id, "back", quantity, returns_id=sold.pk)

    def round(self, grains: tuple[int, ...], sawdust: int, culture: int) -> None:
        """One week's work, from dry grain (jar by jar in turn) to sold packs."""
        jars = [self.make({grains[k % len(grains)]: 3 * KG}, "jar", 5 * KG) for k in range(6)]
        first = [self.make({jar: 5 * KG, culture: 10}, "spawn", 5 * KG) for jar in jars[:2]]
        second = [
            self.make({first[k % 2]: KG, jar: 5 * KG}, "spawn", 6 * KG)
            for k, jar in enumerate(jars[2:])
        ]
        picks: list[int] = []
        for k in range(4):
            spawn = dict.fromkeys(self.random.sample(second, self.random.randint(1, 2)), KG)
            block = self.make({**spawn, sawdust: 40 * KG}, "block", 40, loss_ppm=70_000)
            self.blocks.append(block)
            self.leave(block, "lost", 3)
            flushes = self.random.randint(2, 3)
            for left in reversed(range(flushes)):
                picks.append(self.pick(block, self.random.randint(3, 9) * KG + k, left * 4 * KG))
            self.leave(block, "lost", 37, closes=1)
        self.pack_and_sell(picks)

    def pack_and_sell(self, picks: list[int]) -> None:
        left = dict.fromkeys(picks, 6)
        packs = []
        for _ in range(14):
            open_picks = [pick for pick in picks if left[pick]]
            mixed = self.random.sample(open_picks, min(len(open_picks), self.random.randint(1, 3)))
            for pick in mixed:
                left[pick] -= 1
            pack = self.make(dict.fromkeys(mixed, KG // 3), "pack", 40)
            packs.append(pack)
            for quantity in (25, 10):
                self.leave(pack, "sold", quantity)
        self.bring_back(2)
        self.load(*packs[-2:])


def build(lines: int) -> FarmYears:
    """Write a book of about so many lines, in one transaction, and work it."""
    names = {
        "grain": "mass",
        "sawdust": "mass",
        "culture": "volume",
        "jar": "mass",
        "spawn": "mass",
        "block": "count",
        "crop": "mass",
        "pack": "count",
    }
    with transaction.atomic():
        items = {name: Item.objects.create(name=name, dimension=d) for name, d in names.items()}
        pace = round(YEAR_SECONDS * LINES_AN_ENTRY / lines)
        years = FarmYears(random.Random(7), items, pace)
        _work(years, lines // LINES_A_ROUND)
        Entry.objects.bulk_create(years.entries, batch_size=BATCH)
        Lot.objects.bulk_create(years.lots, batch_size=BATCH)
        Line.objects.bulk_create(years.lines, batch_size=BATCH)
        Charge.objects.bulk_create(years.charges, batch_size=BATCH)
        Head.objects.create(pk=1, seq=len(years.entries), lots=len(years.lots))
        _seal(years.entries)
        full_pass.rebuild()
    return years


def _work(years: FarmYears, rounds: int) -> None:
    grain = sawdust = culture = 0
    for k in range(rounds):
        if k % max(1, rounds // 20) == 0:  # a supplier lot reaches a twentieth of all lots
            grain, sawdust, culture = _supplies(years)
        if k == rounds // 3:
            years.planted = years.buy("grain", 10_000 * KG, 9_000 * 10_000)
        is_bad = rounds // 3 <= k < rounds // 2 and k % 4 == 0
        years.round((grain, years.planted) if is_bad else (grain,), sawdust, culture)


def _seal(entries: list[Entry]) -> None:
    before = ""
    for at in range(0, len(entries), BATCH):
        some = entries[at : at + BATCH]
        seals = [
            Seal(entry=entry, digest=digest)
            for entry, digest in zip(some, sealing.digests(before, some), strict=True)
        ]
        Seal.objects.bulk_create(seals)
        before = seals[-1].digest


def _supplies(years: FarmYears) -> tuple[int, int, int]:
    tonne = 1_000 * KG
    return (
        years.buy("grain", 10 * tonne, 9_000 * 10_000),
        years.buy("sawdust", 100 * tonne, 20_000 * 10_000),
        years.buy("culture", 100_000, 300 * 10_000),
    )
