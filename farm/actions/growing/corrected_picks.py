"""Keep a corrected pick whole: what its blocks gave comes to what was picked."""

from django.db.models import Sum

from farm.models import Stage
from farm.queries.entries import gave_in
from ledger.amounts import largest_remainder
from ledger.drafts import LineDraft
from ledger.errors import Malformed
from ledger.models import Entry, Line, Lot, Role


def weights_that_follow(root: Entry, lot: Lot, role: str, *, right_mg: int) -> list[LineDraft]:
    """State how the weights that blocks gave change when one number of a pick is corrected.

    A picked lot's weight: all that gave share the new sum. The weight that a block lot gave: what
    was picked stays, and the others share the rest. Both by what each gave, by largest remainder:
    9 kg and 3 kg gave 12 kg; corrected to 13 kg they gave 9.75 kg and 3.25 kg. What trim that was
    picked alone takes out of the blocks as its worth follows its weight.
    """
    gave = gave_in(root)
    picked = _picked(root)
    if role == Role.MADE and lot.pk in picked:
        rest_mg = sum(picked.values()) - picked[lot.pk] + right_mg
        follow = gave
    elif role == Role.USED and lot.pk in {block.pk for block in gave}:
        rest_mg = sum(picked.values()) - right_mg
        follow = {block: mg for block, mg in gave.items() if block.pk != lot.pk}
        _check_rest(root, lot, follow, rest_mg=rest_mg)
    else:
        return []
    if not any(follow.values()):
        return []
    shares = zip(follow, largest_remainder(rest_mg, list(follow.values())), strict=True)
    worths = _worths(root)
    return [
        LineDraft(
            block,
            Role.USED,
            0,
            given_mg=mg - follow[block],
            worth=worths[block.pk] * (mg - follow[block]) // (follow[block] or 1),
        )
        for block, mg in shares
        if mg != follow[block]
    ]


def check_something_is_left(root: Entry, lot: Lot, role: str) -> None:
    """Refuse to correct to nothing the only source of what was made, or all that was made.

    Packaging and other supplies are no source where something else is.
    """
    if role not in (Role.USED, Role.MADE):
        return
    others = Line.objects.standing_at(root.seq).filter(role=role).exclude(lot=lot)
    if role == Role.USED and lot.card.stage != Stage.SUPPLY:
        others = others.exclude(lot__card__stage=Stage.SUPPLY)
    sums = others.order_by().values("lot").annotate(Sum("quantity"), Sum("given_mg"))
    if not any(one["quantity__sum"] or one["given_mg__sum"] for one in sums):
        raise Malformed(
            f"Lot {lot.code} is all that was {role} at entry {root.seq} ({root.kind}), so it "
            "cannot come to nothing. Take that entry back instead.",
            [lot.code],
        )


def _picked(root: Entry) -> dict[int, int]:
    made = Line.objects.standing_at(root.seq).filter(role=Role.MADE).order_by()
    return dict(made.values_list("lot_id").annotate(Sum("quantity")))


def _worths(root: Entry) -> dict[int, int]:
    used = Line.objects.standing_at(root.seq).filter(role=Role.USED).order_by()
    return dict(used.values_list("lot_id").annotate(Sum("worth")))


def _check_rest(root: Entry, lot: Lot, follow: dict[Lot, int], *, rest_mg: int) -> None:
    """Refuse a weight that the other blocks of the pick cannot make up for."""
    if rest_mg < 0 or (rest_mg and not any(follow.values())):
        others = "its other blocks gave too little" if follow else "no other lot gave any"
        raise Malformed(
            f"Lot {lot.code}: what the blocks gave must come to what was picked at entry "
            f"{root.seq}, and {others}. Correct the weight of the picked lot; what the blocks "
            "gave follows it.",
            [lot.code],
        )
