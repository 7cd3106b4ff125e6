"""A recall as rows: whom to tell, what was answered, what came since, the notice's words.

What was listed at the opening stays as it was; beside it stands what came since. A lot that was
let go stays in sight, struck.
"""

from collections.abc import Mapping
from dataclasses import replace
from zoneinfo import ZoneInfo

from farm import habits
from farm.models import Given, RecallCall
from farm.queries.tracing.balance import round_ppm
from farm.queries.tracing.contacts import CUSTOMER, PLACE, Contact, Whom
from farm.queries.tracing.recalls import RecallState, Since, ToDo
from farm.reports.report_heading import Made
from farm.reports.rows import Column, Fact, Kind, Report, Row, Table, total_row
from farm.reports.tracing.balance_rows import percent_words
from farm.reports.tracing.reach_rows import (
    NO_VERDICT,
    Names,
    given_words,
    here_table,
    lots_table,
    named,
    recipients_table,
    sales_table,
    unnamed_table,
)
from farm.units import show_count, show_mass

FROZEN = "as it stood when the recall was opened"


def recall_report(state: RecallState, made: Made, *, names: Names, zone: ZoneInfo) -> Report:
    """Build the report; ``names``: of customers, or None for their numbers only."""
    recall, frozen = state.recall, state.frozen
    here = here_table(frozen.still_here)
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
            _contacts(state, names),
            here_table(state.now.still_here),
            _since(state, names, zone),
            _notice(state),
            _calls(state, names, zone),
            _released(state, zone),
            _then(recipients_table(frozen.recipients, names)),
            _then(unnamed_table(frozen.unnamed)),
            _then(sales_table(frozen.sales, names)),
            replace(here, title=f"Still here, by place, {FROZEN}"),
            _lots(state),
        ),
        cautions=(NO_VERDICT,),
        currency=made.currency,
    )


def _then(table: Table) -> Table:
    return replace(table, title=f"{table.title}, {FROZEN}")


def _facts(state: RecallState) -> tuple[Fact, ...]:
    frozen, now, left = state.frozen, state.now, still_to_do(state.to_do)
    sure = sum(lot.certain for lot in now.lots)
    came = {lot.code for lot in now.lots} - {lot.code for lot in frozen.lots}
    said = f"{len(now.lots)}: {sure} certain, {len(now.lots) - sure} possible"
    more = [f"{len(came)} came since"] if came else []
    more += [f"{len(state.left)} let go"] if state.left else []
    return (
        Fact("State", f"open: {left}" if state.is_open else "nothing is left to do"),
        Fact("Why", state.recall.reason),
        Fact("Suspects", ", ".join(frozen.codes)),
        Fact("Lots on the list", "; ".join([said, *more])),
        Fact("Customers spoken to", f"{state.reached} of {len(state.customers)}"),
        Fact("Recovered of what was sold", share_words(state.recovered_mg, state.sold_mg)),
        Fact("Still here", f"{show_count(len(now.still_here), 'lot', 'lots')}, on hold"),
        Fact("Waiting entries about these lots", now.waiting, Kind.COUNT),
    )


def still_to_do(left: ToDo) -> str:
    """“2 customers not spoken to, 1 place without a notice, 4 lots here”; empty when done."""
    words = (
        (left.customers, f"{show_count(left.customers, 'customer', 'customers')} not spoken to"),
        (left.places, f"{show_count(left.places, 'place', 'places')} without a notice"),
        (left.given, "who was given some not told"),
        (left.here, f"{show_count(left.here, 'lot', 'lots')} still here"),
        (left.waiting, f"{show_count(left.waiting, 'form', 'forms')} about it to sort out"),
    )
    return ", ".join(said for count, said in words if count)


def share_words(part: int, whole: int) -> str:
    """“1.20 of 6.10 kg (19.67 %)”; what came back before the recall was taken off already."""
    share_ppm = round_ppm(part, whole)
    said = f"{show_mass(part, 'kg')} of {show_mass(whole, 'kg')}"
    return said if share_ppm is None else f"{said} ({percent_words(share_ppm)})"


# --- whom to tell -----------------------------------------------------------------------------


def numbers_of(state: RecallState) -> dict[int, str]:
    """The number of each customer on either list."""
    rows = (*state.frozen.recipients, *state.now.recipients)
    return {one.customer_id: one.number for one in rows}


def whom_words(whom: Whom, numbers: Mapping[int, str]) -> str:
    """Word whom a call is to: by number, by place, or by why it was given away."""
    if whom.kind == CUSTOMER:
        return numbers.get(int(whom.key), "")
    return whom.key if whom.kind == PLACE else given_words(whom.key)


def _contacts(state: RecallState, names: Names) -> Table:
    columns = (
        Column("To"),
        Column("Spoken to"),
        *((Column("Customer"), Column("Contact")) if names is not None else ()),
        Column("Calls", Kind.COUNT),
        Column("Last answer"),
        Column("Got at most", Kind.MASS),
        Column("Recovered", Kind.MASS),
        Column("Lots"),
    )
    numbers = numbers_of(state)
    rows: list[Row] = [
        (
            whom_words(one.whom, numbers),
            told_words(one),
            *_name(one.whom, names)[:2],
            one.called.calls,
            one.called.last_answer,
            state.received_mg(one.whom),
            one.called.recovered_mg,
            ", ".join(one.codes),
        )
        for one in state.contacts
    ]
    total = total_row(columns, rows, {"Calls", "Got at most", "Recovered"}) if rows else None
    struck = tuple(at for at, one in enumerate(state.contacts) if one.struck)
    return Table("Whom to tell, and what they answered", columns, tuple(rows), total, struck=struck)


def told_words(one: Contact) -> str:
    """Say what came of calls, in a word or two."""
    if one.struck:
        return "let go"
    if one.told:
        return "yes"
    if one.again:
        return "again: got more since"
    if one.is_done:
        return f"not to be reached on {one.tried} days"
    return "not yet, tried on 1 day" if one.tried else "not yet"


def _name(whom: Whom, names: Names) -> Row:
    """Name and contact of a customer; blank where nobody's name is known."""
    return named(int(whom.key) if whom.kind == CUSTOMER else None, names)


def _since(state: RecallState, names: Names, zone: ZoneInfo) -> Table:
    columns = (
        Column("Recorded at", Kind.DATE),
        Column("What"),
        Column("Lot"),
        Column("Product"),
        Column("Pieces", Kind.COUNT),
        Column("Weight", Kind.MASS),
        Column("Happened on", Kind.DATE),
        Column("To"),
        *((Column("Customer"),) if names is not None else ()),
        Column("Why"),
        Column("Entry"),
    )
    numbers = numbers_of(state)
    rows: list[Row] = [
        (
            one.recorded_at.astimezone(zone),
            one.what,
            one.code,
            one.name,
            one.pieces,
            one.mass_mg,
            one.day,
            _to(one, numbers),
            *named(one.customer_id, names)[:1],
            one.reason,
            str(one.entry),
        )
        for one in state.since
    ]
    note = "Below zero: it left the lot. What was done before the hold and typed later stands here."
    title = "Recorded of it since the recall was opened"
    return Table(title, columns, tuple(rows), note=note if rows else "")


def _to(one: Since, numbers: Mapping[int, str]) -> str:
    return numbers.get(one.customer_id, "") if one.customer_id else one.place


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
        (
            call.called_at.astimezone(zone),
            _whom(call),
            *named(call.customer_id, names)[:1],
            "yes" if call.reached else "no",
            call.answer,
            call.recovered_mg,
            call.by.initials,
            call.recorded_at.astimezone(zone),
        )
        for call in state.calls
    ]
    total = total_row(columns, rows, {"Recovered"}) if rows else None
    return Table("Calls made", columns, tuple(rows), total)


def _released(state: RecallState, zone: ZoneInfo) -> Table:
    columns = (Column("When", Kind.DATE), Column("Lot"), Column("By"), Column("Why"))
    rows: list[Row] = [
        (one.at.astimezone(zone), one.code, one.by, one.reason) for one in state.released
    ]
    return Table("Let go since, and struck from the list", columns, tuple(rows))


def _lots(state: RecallState) -> Table:
    """Every lot that ever stood on the list, as it is now; what was let go is struck."""
    now = {lot.code: lot for lot in state.now.lots}
    first = {lot.code: lot for lot in state.frozen.lots}
    lots = sorted((first | now).values(), key=lambda lot: (lot.stage, lot.made_on, lot.code))
    struck = tuple(at for at, lot in enumerate(lots) if lot.code in state.left)
    return replace(lots_table(lots), title="Every lot on the list, by stage", struck=struck)


def _whom(call: RecallCall) -> str:
    if call.customer:
        return call.customer.number
    return Given(call.given).label if call.given else str(call.place)


def _notice(state: RecallState) -> Table:
    """The last version's words, a line a row, so that they print as they were written."""
    last = state.notices[-1]
    lines = [line for line in last.text.split("\n") if line.strip()]
    title = f"Notice, version {last.version} by {last.by.initials}"
    numbered = tuple((str(at), line) for at, line in enumerate(lines, start=1))
    return Table(title, (Column("Line"), Column("Words")), numbered)
