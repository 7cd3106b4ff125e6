"""The chain written out with its checker: whatever is changed in the file is named."""

import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from pytest_django import DjangoDbBlocker

from farm.actions.tracing.holding import hold
from farm.exchange.check_chain import FACTS, Broken, check
from farm.exchange.proof import COLUMNS, write_proof
from farm.tables.writing import FolderError
from ledger import append_only, sealing
from ledger.drafts import canonical
from ledger.models import Entry, Lot, Seal
from tests.farm.closed import sold
from tests.farm.goods import packs
from tests.farm.world import UNIT, World, small_farm

Records = list[dict[str, Any]]


def a_book(world: World) -> None:
    """Delivered, picked, packed with labour, put on hold, sold: every kind of fact."""
    lot = packs(world)
    hold(world.doing(reason="smells – look again"), [packs(world)])
    sold(world, lot, 3)
    world.received("punnet", 50, 7 * UNIT)


@pytest.fixture(scope="module")
def written(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    """A small book's proof; the database is empty again afterwards."""
    folder = tmp_path_factory.mktemp("proof") / "out"
    with django_db_blocker.unblock(), transaction.atomic():
        a_book(small_farm())
        write_proof(folder)
        transaction.set_rollback(True)
    yield folder


@pytest.fixture
def records(written: Path) -> Records:
    return [json.loads(line) for line in (written / FACTS).read_text().splitlines()]


def checked(folder: Path, *head: str) -> tuple[int, str]:
    """Run the written checker as anybody would: a plain Python that knows nothing of us."""
    command = [sys.executable, "-I", str(folder / "check_chain.py"), str(folder), *head]
    done = subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False)
    assert done.stderr == ""
    return done.returncode, done.stdout


def rewritten(written: Path, records: Records, folder: Path) -> Path:
    """A folder with the same checker and other records."""
    (folder / "check_chain.py").write_bytes((written / "check_chain.py").read_bytes())
    (folder / FACTS).write_text("".join(canonical(record) + "\n" for record in records))
    return folder


def first_with(records: Records, kind: str) -> dict[str, Any]:
    return next(record for record in records if record["facts"][kind])


def column(kind: str, name: str) -> int:
    return sealing.COLUMNS[kind].index(name)


# --- as written ------------------------------------------------------------------------------


def test_an_untouched_book_holds(written: Path, records: Records) -> None:
    head = records[-1]["digest"]

    assert checked(written) == (
        0,
        f"{len(records)} entries hold. Head of the chain: {head}\n",
    )


def test_every_kind_of_fact_stands_in_the_file(records: Records) -> None:
    assert all(first_with(records, kind) for kind in ("lines", "charges", "marks"))
    assert any("smells – look again" in record["facts"]["entry"] for record in records)


def test_the_columns_are_named_beside_the_facts(written: Path, records: Records) -> None:
    names = json.loads((written / COLUMNS).read_text())

    for record in records:
        for kind in ("lines", "charges", "marks"):
            assert {len(row) for row in record["facts"][kind]} <= {len(names[kind])}
        assert len(record["facts"]["entry"]) == len(names["entry"])


def test_a_book_without_entries_holds(written: Path, tmp_path: Path) -> None:
    assert checked(rewritten(written, [], tmp_path)) == (
        0,
        "0 entries hold. Head of the chain: none\n",
    )


def test_the_checker_imports_the_standard_library_alone(written: Path) -> None:
    lines = (written / "check_chain.py").read_text().splitlines()
    imports = [line for line in lines if line.startswith(("import ", "from "))]

    assert {line.split()[1] for line in imports} == {"hashlib", "json", "sys", "pathlib"}


# --- one thing changed -----------------------------------------------------------------------


def change(kind: str, name: str, value: object) -> Callable[[Records], int]:
    """Set one column of the first record that has such rows; return its number."""

    def changed(records: Records) -> int:
        record = first_with(records, kind)
        rows = record["facts"][kind]
        row = rows if kind in ("entry", "times") else rows[0]
        assert row[column(kind, name)] != value
        row[column(kind, name)] = value
        return records.index(record) + 1

    return changed


def line_dropped(records: Records) -> int:
    record = first_with(records, "lines")
    record["facts"]["lines"].pop()
    return records.index(record) + 1


def lines_swapped(records: Records) -> int:
    record = next(record for record in records if len(record["facts"]["lines"]) > 1)
    record["facts"]["lines"].reverse()
    return records.index(record) + 1


def digest_changed(records: Records) -> int:
    records[2]["digest"] = "0" * 64
    return 3


def something_beside(records: Records) -> int:
    records[2]["note"] = "seen by nobody's digest"
    return 3


def entry_dropped(records: Records) -> int:
    del records[2]
    return 3


def first_dropped(records: Records) -> int:
    del records[0]
    return 1


def entries_swapped(records: Records) -> int:
    records[2], records[3] = records[3], records[2]
    return 3


def entry_doubled(records: Records) -> int:
    records.insert(3, records[2])
    return 3


def entry_slipped_in(records: Records) -> int:
    """A new third entry, rightly sealed on the second: the old third is the one too many."""
    facts = json.loads(json.dumps(records[2]["facts"]))
    facts["entry"][column("entry", "kind")] = "gift"
    sealed = hashlib.sha256((records[1]["digest"] + canonical(facts)).encode()).hexdigest()
    records.insert(2, {"digest": sealed, "facts": facts})
    return 3


@pytest.mark.parametrize(
    "damage",
    [
        change("entry", "seq", 9),
        change("entry", "kind", "gift"),
        change("entry", "by", 99),
        change("entry", "happened_on", "2026-01-01"),
        change("entry", "reason", "because"),
        change("entry", "particulars", "{}x"),
        change("entry", "uuid", "another"),
        change("times", "happened_at", 0.5),
        change("times", "recorded_at", 0.5),
        change("lines", "quantity", 1),
        change("lines", "money", 1),
        change("lines", "role", "x"),
        change("lines", "lot__code", "AAAAA"),
        change("lines", "lot__item_id", 0),
        change("lines", "lot__unit_mass_mg", 5),
        change("lines", "lot__made_by_id", 0),
        change("charges", "amount", 1),
        change("charges", "rate", 1),
        change("marks", "held", False),
        line_dropped,
        lines_swapped,
        digest_changed,
        something_beside,
        entry_dropped,
        first_dropped,
        entries_swapped,
        entry_doubled,
        entry_slipped_in,
    ],
)
def test_what_was_changed_is_named(
    written: Path, records: Records, tmp_path: Path, damage: Callable[[Records], int]
) -> None:
    number = damage(records)
    code, said = checked(rewritten(written, records, tmp_path))

    assert code == 1
    assert said.startswith(f"BROKEN: entry {number} ")


def places(data: dict[str, Any] | list[Any]) -> Iterator[tuple[Any, Any]]:
    """Every place of a value within lists and objects: what holds it, and where."""
    inside = data.items() if isinstance(data, dict) else enumerate(data)
    for at, value in inside:
        if isinstance(value, dict | list):
            yield from places(value)
        else:
            yield data, at


def test_no_value_of_any_entry_can_be_changed_unseen(
    written: Path, records: Records, tmp_path: Path
) -> None:
    for number, record in enumerate(records, start=1):
        for holder, at in places(record):
            was, holder[at] = holder[at], "changed"
            with pytest.raises(Broken, match=rf"entry {number} "):
                check(rewritten(written, records, tmp_path))
            holder[at] = was
    check(rewritten(written, records, tmp_path))


def test_a_line_that_is_no_record_is_named(written: Path, records: Records, tmp_path: Path) -> None:
    folder = rewritten(written, records, tmp_path)
    lines = (folder / FACTS).read_bytes().splitlines(keepends=True)
    for spoilt in (b"\xff\n", b"\n", b"[]\n", b'{"digest":"","facts":{}}\n', lines[1][:-9]):
        (folder / FACTS).write_bytes(b"".join([lines[0], spoilt, *lines[2:]]))
        assert checked(folder)[1].startswith("BROKEN: entry 2 is altered")


# --- against a head kept elsewhere -----------------------------------------------------------


def test_a_cut_off_end_shows_in_the_head_alone(
    written: Path, records: Records, tmp_path: Path
) -> None:
    head, left = records[-1]["digest"], len(records) - 1
    folder = rewritten(written, records[:-1], tmp_path)

    assert checked(folder)[0] == 0
    code, said = checked(folder, head)
    assert code == 1
    assert said.startswith(f"BROKEN: entry {left + 1} is missing: the end was cut off after")


def test_a_book_written_anew_does_not_have_the_head(
    written: Path, records: Records, tmp_path: Path
) -> None:
    head, before = records[-1]["digest"], ""
    change("entry", "by", 99)(records)
    for record in records:
        facts = canonical(record["facts"])
        before = record["digest"] = hashlib.sha256((before + facts).encode()).hexdigest()
    folder = rewritten(written, records, tmp_path)

    assert checked(folder)[0] == 0
    code, said = checked(folder, head)
    assert code == 1
    assert "or the chain was written anew" in said


def test_a_head_of_an_earlier_month_is_found_as_it_was_printed(
    written: Path, records: Records
) -> None:
    head = records[1]["digest"]
    printed = [head[at : at + 8].upper() for at in range(0, 64, 8)]
    code, said = checked(written, *printed)

    assert code == 0
    assert f"The head given is that of entry 2; {len(records) - 2} follow." in said


def test_a_head_that_was_not_copied_whole_is_said(written: Path) -> None:
    code, said = checked(written, "abc")

    assert code == 1
    assert "has 3 characters; a digest has 64" in said


# --- from the book ---------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_command_writes_checks_and_says_the_head(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a_book(world)
    call_command("proof", "--out", str(tmp_path / "out"))

    said = capsys.readouterr().out
    assert f"{Entry.objects.count()} entries hold. " in said
    assert sealing.head_digest() in said
    assert sealing.head_digest() in checked(tmp_path / "out")[1]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "damage",
    [
        lambda: Lot.objects.filter(pk=Lot.objects.order_by("pk")[1].pk).update(code="AAAAA"),
        lambda: Seal.objects.filter(entry=2).delete(),
        lambda: Entry.objects.filter(seq=2).update(
            recorded_at=Entry.objects.get(seq=2).recorded_at + timedelta(microseconds=1)
        ),
    ],
)
def test_a_database_changed_behind_the_book_is_named(
    world: World, tmp_path: Path, damage: Callable[[], object]
) -> None:
    a_book(world)
    append_only.remove(connection)
    damage()
    first = next(sealing.broken_seals())

    with pytest.raises(CommandError, match=f"BROKEN: entry {first} "):
        call_command("proof", "--out", str(tmp_path))
    assert checked(tmp_path)[1].startswith(f"BROKEN: entry {first} ")


@pytest.mark.django_db
def test_it_refuses_a_folder_that_holds_something(tmp_path: Path) -> None:
    (tmp_path / "old").touch()
    with pytest.raises(FolderError, match="is not empty"):
        write_proof(tmp_path)
