"""A traceability drill as rows: the times, the balance, both ways, what was missing, who signed."""

import json
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from farm import habits
from farm.habits import to_places
from farm.models import Drill, DrillSignature
from farm.queries.tracing.balance import Balance
from farm.queries.tracing.drills import Drilled, drilled_of
from farm.reports.report_heading import Made, cells
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table
from farm.reports.tracing.balance_rows import (
    accounted_words,
    amount_words,
    balance_tables,
    lost_words,
    shares_words,
)
from farm.reports.tracing.reach_rows import Names, here_table, recipients_table, unnamed_table
from farm.units import show_mass

WITHIN = (
    "A common aim, from memory: all of it accounted for within two to four hours. What counts "
    "is what your buyers and your authority ask."
)


def signature_of(drill: Drill) -> DrillSignature | None:
    found = getattr(drill, "signature", None)
    return found if isinstance(found, DrillSignature) else None


def drill_report(drill: Drill, made: Made, *, names: Names, zone: ZoneInfo) -> Report:
    """Build the report; ``names``: of customers, or None for their numbers only."""
    found = drilled_of(drill)
    signed = signature_of(drill)
    return Report(
        title=f"Traceability drill {drill.number}",
        subtitle=f"Lot {drill.lot.code}, {drill.lot.item.name}, "
        + ("picked by chance" if drill.picked_by_chance else "named by hand"),
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(*_times(drill, signed, zone), *_numbers(found), *_signed(signed, zone)),
        tables=(
            _missing(found, signed),
            recipients_table(found.forward.recipients, names),
            unnamed_table(found.forward.unnamed),
            here_table(found.forward.still_here),
            _behind(found),
            *balance_tables(found.forward.balances),
        ),
        cautions=(WITHIN,),
        currency=made.currency,
    )


def _times(drill: Drill, signed: DrillSignature | None, zone: ZoneInfo) -> tuple[Fact, ...]:
    facts = [
        Fact("Started", drill.started_at.astimezone(zone), Kind.DATE),
        Fact("Lists complete", f"{_seconds(drill)} after the start"),
    ]
    if signed:
        facts.append(Fact("Finished", signed.signed_at.astimezone(zone), Kind.DATE))
        facts.append(Fact("Time taken", time_words(drill.started_at, signed.signed_at)))
    return tuple(facts)


def time_words(start: datetime, finish: datetime) -> str:
    """“1 h 04 min 30 s”, rounded down to the second."""
    minutes, seconds = divmod(int((finish - start).total_seconds()), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min {seconds:02} s" if hours else f"{minutes} min {seconds} s"


def _numbers(found: Drilled) -> tuple[Fact, ...]:
    balance = found.balance
    labels = ("Still here", "Used for other lots", "Sold, less what came back", "Water")
    parts = [("Made", balance.made), ("Counted up", balance.counted_up)]
    parts += [*zip(labels, balance.parts, strict=False), ("Unexplained", balance.unexplained)]
    return (
        *(Fact(label, _weighed(balance, part)) for label, part in parts),
        Fact("Lost", lost_words(balance) or "nothing"),
        Fact("Accounted for", accounted_words(balance)),
        Fact("Shares", shares_words(balance)),
        Fact("Lots behind it", f"{len(found.behind)}, with {found.runs} steriliser runs"),
        Fact("Customers with a contact", f"{found.contacts} of {len(found.forward.recipients)}"),
    )


def _weighed(balance: Balance, quantity: int) -> str:
    """“18 pieces, 3.60 kg”; of a weighed lot its weight alone."""
    said = amount_words(balance, quantity)
    if not balance.counted:
        return said
    weight = show_mass(quantity * balance.unit_mass_mg, "kg") if balance.unit_mass_mg else ""
    return ", ".join(part for part in (f"{said} pieces", weight) if part)


def _signed(signed: DrillSignature | None, zone: ZoneInfo) -> tuple[Fact, ...]:
    if signed is None:
        return (Fact("Signed", "not yet"),)
    return (
        Fact("Learnt", signed.lessons or "nothing noted"),
        Fact(
            "Signed",
            f"{signed.initials} ({signed.by}), "
            f"{habits.short_moment(signed.signed_at.astimezone(zone))}",
        ),
    )


def _missing(found: Drilled, signed: DrillSignature | None) -> Table:
    answers = json.loads(signed.answers) if signed else [""] * len(found.missing)
    pairs = enumerate(zip(found.missing, answers, strict=True), start=1)
    rows: list[Row] = [(str(at), question, answer) for at, (question, answer) in pairs]
    columns = (Column("No."), Column("What is missing"), Column("Answer"))
    return Table("What is missing", columns, tuple(rows))


def _behind(found: Drilled) -> Table:
    columns = (
        Column("Stage"),
        Column("Lot"),
        Column("What"),
        Column("Made", Kind.DATE),
        Column("In it, pieces", Kind.COUNT),
        Column("In it", Kind.MASS),
        Column("From"),
        Column("More"),
    )
    rows: list[Row] = [
        (
            lot.stage.label,
            lot.code,
            lot.name,
            lot.made_on,
            *cells(lot.share),
            lot.supplier,
            lot.facts,
        )
        for lot in sorted(found.behind, key=lambda lot: lot.stage)
    ]
    return Table("Everything behind it", columns, tuple(rows))


def drills_report(drills: Sequence[Drill], made: Made, *, year: int, zone: ZoneInfo) -> Report:
    """List a year's drills, newest first."""
    columns = (
        Column("Drill"),
        Column("Started", Kind.DATE),
        Column("Lot"),
        Column("What"),
        Column("Lists after"),
        Column("Time taken"),
        Column("Accounted for"),
        Column("Missing, questions", Kind.COUNT),
        Column("Signed"),
    )
    signed = [drill for drill in drills if signature_of(drill)]
    return Report(
        title=f"Traceability drills, {year}",
        subtitle="A sold lot traced both ways against the clock",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=(Fact("Signed", f"{len(signed)} of {len(drills)}"),),
        tables=(Table("Drills", columns, tuple(_row(drill, zone) for drill in drills)),),
        currency=made.currency,
    )


def _seconds(drill: Drill) -> str:
    return f"{to_places((drill.traced_at - drill.started_at).total_seconds(), 1)} s"


def _row(drill: Drill, zone: ZoneInfo) -> Row:
    found, signed = drilled_of(drill), signature_of(drill)
    return (
        str(drill.number),
        drill.started_at.astimezone(zone),
        drill.lot.code,
        drill.lot.item.name,
        _seconds(drill),
        time_words(drill.started_at, signed.signed_at) if signed else "",
        accounted_words(found.balance),
        len(found.missing),
        signed.initials if signed else "not yet",
    )
