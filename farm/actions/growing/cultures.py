"""Cultures: bought, transferred, cloned from a pick; counted in portions.

A portion is a wedge of a plate or a millilitre of liquid culture: what one bag of grain takes.
"""

from collections.abc import Sequence
from typing import NamedTuple

from farm.actions import common
from farm.actions.common import Doing, Draw, card, item_for, labour, need_some, need_stage, post
from farm.actions.growing.harvesting import worth_as_much
from farm.actions.growing.purchase_tax import landed
from farm.actions.growing.supplies import NOT_STATED, Delivery
from farm.actions.idempotency import action
from farm.kinds.growing import BUY_CULTURE, CLONE_CULTURE, TRANSFER_CULTURE
from farm.kinds.kind import Kind
from farm.models import Stage, Strain
from ledger.book import Recorded
from ledger.drafts import LineDraft, NewLot
from ledger.errors import Malformed
from ledger.models import Dimension, Lot, Role

# Common practice, no source: a wedge or a millilitre weighs about a gram.
PORTION_MG = 1_000


class Worth(NamedTuple):
    """What a piece taken into culture is worth, and a kilo of the crop that it is taken from."""

    money: int
    crop_kg_money: int


@action
def buy_culture(
    doing: Doing,
    *,
    strain: Strain,
    portions: int,
    paid_money: int,
    tax_money: int = 0,
    delivery: Delivery = NOT_STATED,
    transfers: int = 0,
) -> Recorded:
    """Register a culture that was bought, at what was paid; its tax as of supplies."""
    paid = landed(paid_money, tax_money)
    line = LineDraft(_culture_of(strain), Role.BOUGHT, portions, money=paid.cost_money)
    recorded = post(doing, BUY_CULTURE, [line], particulars=paid.particulars)
    if recorded.fresh:
        card(
            recorded.lots[0],
            Stage.CULTURE,
            strain=strain,
            species=strain.species,
            transfers=transfers,
            **vars(delivery),
        )
    return recorded


@action
def transfer_culture(
    doing: Doing, *, source: Lot, portions: int, used: int = 1, medium: Sequence[Draw] = ()
) -> Recorded:
    """Grow a culture on to fresh medium: one transfer more than the one it came from."""
    parent = need_stage(source, Stage.CULTURE)
    assert parent.strain
    need_some(used, "portions of the culture")
    draws = common.used([Draw(source, used), *medium])
    return _make(
        doing,
        TRANSFER_CULTURE,
        parent.strain,
        used=draws,
        portions=portions,
        transfers=(parent.transfers or 0) + 1,
    )


@action
def clone_culture(
    doing: Doing,
    *,
    source: Lot,
    piece_mg: int,
    portions: int,
    medium: Sequence[Draw] = (),
    worth: Worth | None = None,
) -> Recorded:
    """Take a piece of a picked mushroom into culture: the strain stays, the counters start anew.

    The culture takes the cost of the piece by its weight; or by ``worth``, against what stays:
    of 10 kg at 50.00 a piece of 5 g, worth as much as 2.5 kg, takes 2.5 parts of 12.495.
    """
    parent = need_stage(source, Stage.CROP)
    if parent.strain is None:
        raise Malformed(
            f"Lot {source.code} is picked from blocks of several strains, so a clone of it would "
            "be of none. Choose a pick of one strain.",
            [source.code],
        )
    need_some(piece_mg, "mg of the mushroom")
    like_mg = worth_as_much(worth.money, worth.crop_kg_money) if worth else 0
    piece = LineDraft(source, Role.USED, -piece_mg, basis=like_mg)
    used = [piece, *common.used(medium)]
    return _make(doing, CLONE_CULTURE, parent.strain, used=used, portions=portions, transfers=0)


def _make(
    doing: Doing,
    kind: Kind,
    strain: Strain,
    *,
    used: Sequence[LineDraft],
    portions: int,
    transfers: int,
) -> Recorded:
    need_some(portions, "portions")
    made = LineDraft(_culture_of(strain), Role.MADE, portions, basis=portions)
    charges = labour(doing, kind, portions)
    recorded = post(doing, kind, [*used, made], charges=charges)
    if recorded.fresh:
        card(
            recorded.lots[-1],
            Stage.CULTURE,
            strain=strain,
            species=strain.species,
            transfers=transfers,
        )
    return recorded


def _culture_of(strain: Strain) -> NewLot:
    item = item_for(f"Culture, {strain}", Dimension.COUNT, stage=Stage.CULTURE)
    return NewLot(item, unit_mass_mg=PORTION_MG)
