"""Lots to sell from, at a cost that a test can divide by hand: bought in, then as if picked."""

from datetime import date

from farm.actions.common import Draw, card, item_for, post
from farm.actions.store.packing import pack
from farm.kinds.growing import PICK
from farm.models import SaleLine, SellingCost, Species, Stage
from ledger.balances import whole_book
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.models import Edge, Entry, Flow, Lot, Role
from tests.copied import copied
from tests.farm.world import GRAM, KG, UNIT, World, fresh


@copied
def crop(
    world: World, mass_mg: int = 10 * KG, *, money: int = 50 * UNIT, species: Species | None = None
) -> Lot:
    """A lot of firsts picked on the world's day."""
    species = species or world.species
    line = LineDraft(NewLot(item_for(f"Fresh {species}, firsts")), Role.BOUGHT, mass_mg, money)
    doing = world.doing()
    lot = post(doing, PICK, [line]).lots[0]
    card(lot, Stage.CROP, species=species, harvested_on=doing.day)
    return fresh(lot)


@copied
def packs(world: World, count: int = 40) -> Lot:
    """Packs of 200 g, of exactly their weight."""
    mass_mg = count * 200 * GRAM
    world.received("punnet", count)
    draws = [Draw(crop(world, mass_mg), mass_mg)]
    recorded = pack(world.doing(), product=world.product, packs=count, draws=draws)
    return fresh(recorded.lots[-1])


def on_hand(lot: Lot) -> int:
    return fresh(lot).quantity


def materials(recorded: Recorded, lot: Lot, role: Role) -> int:
    """What an entry moved out of a lot, without sign."""
    return abs(Flow.objects.get(entry=recorded.entry.place, lot=lot, role=role).materials)


def money(entry: Entry) -> list[tuple[int, int, int]]:
    """Net, tax and gross of each line of an entry."""
    rows = SaleLine.objects.filter(line__entry=entry).order_by("pk")
    return list(rows.values_list("net", "tax", "gross"))


def costs(entry: Entry) -> dict[str, int]:
    return dict(SellingCost.objects.filter(entry=entry).values_list("what", "amount"))


def figures() -> dict[str, object]:
    """Everything that an undo must restore: what lots hold, who came of whom, where cost is."""
    return {
        "lots": set(Lot.objects.exclude(quantity=0).values_list("pk", "quantity", "materials")),
        "edges": set(Edge.objects.values_list("src", "dst", "quantity", "part")),
        "sold and lost": (whole_book().sold, whole_book().lost),
    }


def net_total() -> int:
    return sum(SaleLine.objects.values_list("net", flat=True))


def a_day(world: World) -> date:
    return world.today
