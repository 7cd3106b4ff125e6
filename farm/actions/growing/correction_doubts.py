"""What is doubtful in a corrected number of the growing: what recording it would have asked."""

from collections.abc import Mapping

from farm.actions.corrections import Asks, Correction, Doubts, total
from farm.actions.doubts import price_doubt, spawn_doubt
from farm.actions.growing.harvesting import kept_doubt
from farm.actions.growing.pick_doubts import Picked, weight_doubts
from farm.actions.store.count_doubts import CheckCount, filling_doubts, loss_doubt
from farm.kinds import growing
from farm.kinds.growing import (
    CHECK,
    FILL_BLOCKS,
    INOCULATE_BLOCKS,
    KEEP_SPENT_BLOCKS,
    PICK,
    PREPARE_GRAIN,
    RECEIVE_SUPPLIES,
    Checked,
)
from farm.models import Stage, Supply
from farm.queries.entries import standing
from ledger.models import Role


def _filling(to: Correction) -> Doubts:
    """Hold the bags against all that was drawn for them, or one ingredient against the bags."""
    made = to.draws(Role.MADE)
    drawn = to.draws(Role.USED)
    if to.role == Role.USED:
        drawn = [draw for draw in drawn if draw.lot.item_id == to.lot.item_id]
    recipe = made[0].lot.card.recipe
    assert recipe, "what was filled has a recipe"
    return filling_doubts(to.doing.by, recipe, drawn, count=total(made))


def _inoculation(to: Correction) -> Doubts:
    (bags,) = to.draws(Role.USED, Stage.BAGS)
    count = to.quantity if to.role == Role.MADE else bags.quantity
    spawn_mg = total(to.draws(Role.USED, Stage.SPAWN))
    if count:
        yield spawn_doubt(to.doing.by, bags.lot, spawn_mg=spawn_mg, count=count)


def _check(to: Correction) -> Doubts:
    """Of what was looked at, so many were lost; spawn is weighed, so its bags by their share."""
    if to.role == Role.LOST and to.was:
        said = Checked.read(to.entry.particulars)
        lost = said.lost * to.quantity // to.was
        yield loss_doubt(CheckCount(to.lot.code, said.checked, lost, None), said.checked)


def _pick(to: Correction) -> Doubts:
    """Hold all that was picked against the blocks there were; what one lot gave changes no sum."""
    blocks = [draw.lot.card for draw in to.draws(Role.USED)]
    if to.role == Role.MADE and blocks:
        total_mg, species = total(to.draws(Role.MADE)), blocks[0].species
        assert species, "blocks have a species"
        flush, entry = growing.Picked.read(to.entry.particulars).flush, to.entry.pk
        yield from weight_doubts(Picked(to.doing, species, blocks, flush, total_mg, entry))


def _keep_spent(to: Correction) -> Doubts:
    if to.role == Role.MADE:
        yield from (kept_doubt(draw.lot, to.quantity) for draw in to.draws(Role.USED))


def _delivery(to: Correction) -> Doubts:
    (line,) = [one for one in standing(to.entry) if to.is_of(one.lot, one.role)]
    supply = Supply.objects.select_related("item").get(item=to.lot.item_id)
    money = line.money_now if to.money is None else to.money
    yield price_doubt(to.doing.by, supply, quantity=to.quantity, money=money, before=to.entry)


DOUBTS: Mapping[str, Asks] = {
    PREPARE_GRAIN: _filling,
    FILL_BLOCKS: _filling,
    INOCULATE_BLOCKS: _inoculation,
    CHECK: _check,
    PICK: _pick,
    KEEP_SPENT_BLOCKS: _keep_spent,
    RECEIVE_SUPPLIES: _delivery,
}
