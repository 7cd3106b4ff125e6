"""A recall as rows: whom to tell, what was answered, what came back, the notice's words."""

from zoneinfo import ZoneInfo

from farm import habits
from farm.models import RecallCall
from farm.queries.balance import round_ppm
from farm.queries.recalls import NOT_CALLED, RecallState
from farm.reports.balance_rows import percent_words
from farm.reports.made import Made
from farm.reports.reach_rows import (
    NO_VERDICT,
    Names,
    here_table,
    lots_table,
    named,
    recipients_table,
    sales_table,
    unnamed_table,
)
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.units import show_count, show_mass


def recall_report(state: RecallState, made: Made, *, names: Names, zone: ZoneInfo) -> Report:
    """Build the report; ``names``: of customers, or None for their numbers only."""
    recall, frozen = state.recall, state.frozen
    return Report(
        title=f"Recall {recall.number}",
        subtitle=f"{recall.suspects} · opened "
        f"{habits.moment(recall.opened_at.astimezone(zone))} "
        f"by {recall.by}",
        farm_name=made.farm_name,
        made_by=made.by,
        made_at=made.at,
        facts=_facts(state),
        tables=(
            recipients_table(frozen.recipients, names),
            unnamed_table(frozen.unnamed),
            _notice(state),
            _answers(state, names),
            _calls(state, names, zone),
            _released(state, zone),
            sales_table(frozen.sales, names),
            here_table(frozen.still_here),
            lots_table(frozen.lots),
        ),
        cautions=(NO_VERDICT,),
        currency=made.currency,
    )


def _facts(state: RecallState) -> tuple[Fact, ...]:
    frozen = state.frozen
    sure = sum(lot.certain for lot in frozen.lots)
    return (
        Fact("State", f"open: {still_to_do(state)}" if state.is_open else "nothing is left to do"),
        Fact("Why", state.recall.reason),
        Fact("Suspects", ", ".join(frozen.codes)),
        Fact("Lots", f"{len(frozen.lots)}: {sure} certain, {len(frozen.lots) - sure} possible"),
        Fact("Customers spoken to", f"{state.reached} of {len(frozen.recipients)}"),
        Fact("Recovered of what was sold", recovered_words(state)),
        Fact("Still here when it was opened", show_count(len(frozen.still_here), "lot", "lots")),
        Fact("Waiting entries when it was opened", frozen.waiting, Kind.COUNT),
    )


def still_to_do(state: RecallState) -> str:
    """“2 customers not spoken to, 1 place without a notice, 4 lots on hold”; empty when done."""
    silent = len(state.frozen.recipients) - state.reached
    places, held = state.silent_places, len(state.held)
    left = (
        (silent, f"{show_count(silent, 'customer', 'customers')} not spoken to"),
        (places, f"{show_count(places, 'place', 'places')} without a notice"),
        (held, f"{show_count(held, 'lot', 'lots')} on hold"),
    )
    return ", ".join(words for count, words in left if count)


def recovered_words(state: RecallState) -> str:
    """“1.20 of 6.10 kg (19.67 %)”; what came back before the recall was taken off already."""
    part, whole = state.recovered_mg, state.frozen.sold_mg
    share_ppm = round_ppm(part, whole)
    said = f"{show_mass(part, 'kg')} of {show_mass(whole, 'kg')}"
    return said if share_ppm is None else f"{said} ({percent_words(share_ppm)})"


def _answers(state: RecallState, names: Names) -> Table:
    columns = (
        Column("Customer number"),
        *((Column("Customer"), Column("Contact")) if names is not None else ()),
        Column("Calls", Kind.COUNT),
        Column("Spoken to"),
        Column("Last answer"),
        Column("Had, kept", Kind.MASS),
        Column("Recovered", Kind.MASS),
    )
    rows: list[Row] = []
    for one in state.frozen.recipients:
        called = state.customers.get(one.customer_id, NOT_CALLED)
        rows.append(
            (one.number, *named(one.customer_id, names)[:2], called.calls,
             "yes" if called.reached else "not yet", called.last_answer, one.kept_mg,
             called.recovered_mg)
        )  # fmt: skip
    total = total_row(columns, rows, {"Calls", "Had, kept", "Recovered"}) if rows else None
    return Table("What each customer answered", columns, tuple(rows), total)


def _calls(state: RecallState, names: Names, zone: ZoneInfo) -> Table:
    columns = (
        Column("When", Kind.DATE),
        Column("To"),
        *((Column("Name"),) if names is not None else ()),
        Column("Spoken to"),
        Column("Answer"),
        Column("Recovered", Kind.MASS),
        Column("By"),
        Column("Recorded at", Kind.DATE),
    )
    rows: list[Row] = [
        (call.called_at.astimezone(zone), _whom(call),
         *named(call.customer_id, names)[:1],
         "yes" if call.reached else "no", call.answer, call.recovered_mg, call.by.initials,
         call.recorded_at.astimezone(zone))
        for call in state.calls
    ]  # fmt: skip
    total = total_row(columns, rows, {"Recovered"}) if rows else None
    return Table("Calls made", columns, tuple(rows), total)


def _released(state: RecallState, zone: ZoneInfo) -> Table:
    columns = (Column("When", Kind.DATE), Column("Lot"), Column("By"), Column("Why"))
    rows: list[Row] = [
        (one.at.astimezone(zone), one.code, one.by, one.reason) for one in state.released
    ]
    return Table("Released from hold since", columns, tuple(rows))


def _whom(call: RecallCall) -> str:
    return call.customer.number if call.customer else str(call.place)


def _notice(state: RecallState) -> Table:
    """The last version's words, a line a row, so that they print as they were written."""
    last = state.notices[-1]
    lines = [line for line in last.text.split("\n") if line.strip()]
    title = f"Notice, version {last.version} by {last.by.initials}"
    numbered = tuple((str(at), line) for at, line in enumerate(lines, start=1))
    return Table(title, (Column("Line"), Column("Words")), numbered)
