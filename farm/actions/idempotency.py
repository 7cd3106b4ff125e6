"""Send a form twice, have one effect: what every action is wrapped in."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import wraps
from hashlib import sha256
from typing import Concatenate, ParamSpec

from django.db import transaction
from django.db.models import Model

from farm.actions.common import Doing
from farm.actions.hold_refusals import named
from farm.actions.relisting import keep_up
from farm.kinds.particulars import Particulars
from ledger import book
from ledger.book import Recorded
from ledger.drafts import canonical
from ledger.errors import Conflict, OnHold
from ledger.models import Entry

P = ParamSpec("P")
Action = Callable[Concatenate[Doing, P], Recorded]


def action(act: Action[P]) -> Action[P]:
    """Run an action in one transaction, alone; sent again with the same words it returns its entry.

    An action works from what is on hand, so a second run would ask for other labour or room than
    the first, or be refused. What the form said is therefore compared, not what came of it; other
    words under the same UUID are a Conflict. The lock comes before anything is read: a stall day
    that two people settle at once is settled by one of them. Recalls follow what was written.
    """

    @wraps(act)
    @transaction.atomic
    def once(doing: Doing, /, *given: P.args, **stated: P.kwargs) -> Recorded:
        before = book.lock_head().seq
        said = _digest(act.__name__, doing, [given, stated])
        entry = Entry.objects.filter(uuid=doing.uuid).first()
        if entry is None:
            try:
                recorded = act(replace(doing, form=said), *given, **stated)
            except OnHold as refusal:
                raise named(refusal) from refusal
            keep_up(doing, after=before)
            return recorded
        lines = entry.lines.select_related("lot").order_by("pk")
        if Particulars.read(entry.particulars).form != said:
            raise Conflict(
                f"This form was sent before with other content, as entry {entry.seq} "
                f"({entry.kind}), which stands. Look at it, and correct it if it is wrong.",
                [line.lot.code for line in lines],
            )
        return Recorded(entry, tuple(line.lot for line in lines), fresh=False)

    return once


def _digest(name: str, doing: Doing, stated: object) -> str:
    said = canonical([name, _plain(doing), _plain(stated)])
    return sha256(said.encode()).hexdigest()[:16]


def _plain(value: object) -> object:
    """Turn what an action was given into plain data; rows by their key."""
    if isinstance(value, Model):
        return [type(value).__name__, value.pk]
    if is_dataclass(value):
        return [_plain(getattr(value, field.name)) for field in fields(value)]
    if isinstance(value, Mapping):
        return {str(_plain(key)): _plain(part) for key, part in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_plain(part) for part in value]
    return str(value)
