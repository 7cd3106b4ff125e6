"""The lists of a trace as they stood, kept with a recall or a drill: canonical JSON and back.

Lots stand by code and customers by number and key, so that a name can be erased.
"""

import json
from dataclasses import asdict, replace
from datetime import date, datetime
from typing import Any

from farm.models import Stage
from farm.queries.finding import Amount
from farm.queries.tracing.balance import Balance
from farm.queries.tracing.reach import Lists, Reach, Recipient, Unnamed
from farm.queries.tracing.trace_events import SoldTo
from farm.queries.tracing.traces import TracedLot
from ledger.drafts import canonical


class Frozen(Lists):
    """What a reach listed at the moment it was kept."""


def freeze(reach: Reach) -> dict[str, Any]:
    """Turn the lists into plain data, for `canonical`."""
    return {
        "codes": reach.codes,
        "lots": [asdict(lot) for lot in reach.lots],
        "recipients": [asdict(one) for one in reach.recipients],
        "unnamed": [asdict(one) for one in reach.unnamed],
        "sales": [asdict(replace(one, customer="", contact="")) for one in reach.sales],
        "balances": [asdict(one) for one in reach.balances],
        "sold_mg": reach.sold_mg,
        "waiting": reach.waiting,
    }


def frozen_text(reach: Reach) -> str:
    return canonical(freeze(reach))


def thaw(text: str) -> Frozen:
    return thawed(json.loads(text))


def thawed(said: dict[str, Any]) -> Frozen:
    return Frozen(
        codes=tuple(said["codes"]),
        lots=tuple(lot_of(row) for row in said["lots"]),
        recipients=tuple(_recipient(row) for row in said["recipients"]),
        unnamed=tuple(_unnamed(row) for row in said["unnamed"]),
        sales=tuple(_sold(row) for row in said["sales"]),
        balances=tuple(_balance(row) for row in said["balances"]),
        sold_mg=said["sold_mg"],
        waiting=said["waiting"],
    )


def lot_of(row: dict[str, Any]) -> TracedLot:
    amounts = {name: Amount(**row[name]) for name in ("made", "on_hand", "share")}
    days = {"made_on": date.fromisoformat(row["made_on"])}
    return TracedLot(**{**row, **amounts, **days, "stage": Stage(row["stage"])})


def _recipient(row: dict[str, Any]) -> Recipient:
    days = {name: date.fromisoformat(row[name]) for name in ("first", "last")}
    lists = {name: tuple(row[name]) for name in ("codes", "products")}
    return Recipient(**{**row, **days, **lists})


def _unnamed(row: dict[str, Any]) -> Unnamed:
    amounts = {name: Amount(**row[name]) for name in ("loaded", "sold", "given")}
    return Unnamed(**{**row, **amounts, **_times(row)})


def _sold(row: dict[str, Any]) -> SoldTo:
    amounts = {name: Amount(**row[name]) for name in ("amount", "share")}
    return SoldTo(**{**row, **amounts, **_times(row)})


def _times(row: dict[str, Any]) -> dict[str, date]:
    recorded_at = datetime.fromisoformat(row["recorded_at"])
    return {"day": date.fromisoformat(row["day"]), "recorded_at": recorded_at}


def _balance(row: dict[str, Any]) -> Balance:
    lost = tuple((why, quantity) for why, quantity in row["lost"])
    return Balance(**{**row, "lost": lost, "stage": Stage(row["stage"])})
