"""Everything as open tables: out, back into an empty database, and out again the same."""

import csv
import json
import shutil
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from farm.actions.common import Doing
from farm.actions.growing.supplies import receive_supplies
from farm.actions.tracing.holding import hold
from farm.models import Farm, Person, Supply
from farm.tables import layout
from farm.tables.dictionary import unit_of
from farm.tables.reading import TablesError, read_tables
from farm.tables.values import from_text, kind_of, to_text
from farm.tables.writing import DICTIONARY, FolderError, write_tables
from ledger import append_only
from ledger.book import take_over
from ledger.errors import Conflict
from ledger.models import Entry, Lot, Seal
from tests.farm.world import KG, UNIT, World, assert_book_is_sound, small_farm
from tests.played import played_weeks


@pytest.fixture(scope="module")
def written(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Path]:
    """Fourteen weeks of the demo as tables; the database is empty again afterwards."""
    folder = tmp_path_factory.mktemp("tables") / "out"
    with django_db_blocker.unblock(), transaction.atomic():
        played_weeks()
        write_tables(folder)
        transaction.set_rollback(True)
    yield folder


@pytest.fixture
def copy(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "copy"))


def test_every_model_is_written_or_left_out_with_a_reason() -> None:
    ours = {
        model._meta.label
        for app in ("ledger", "farm")
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
    }

    assert {model._meta.label for model in layout.tables()} == (ours | {"auth.User"}) - set(
        layout.LEFT_OUT
    )
    assert set(layout.LEFT_OUT) <= ours
    assert all([*layout.LEFT_OUT.values(), *layout.COLUMNS_LEFT_OUT.values()])


def test_every_column_left_out_is_there_to_be_left_out() -> None:
    there = {
        f"{model._meta.label}.{field.name}"
        for model in layout.tables()
        for field in model._meta.concrete_fields
    }

    assert set(layout.COLUMNS_LEFT_OUT) <= there


def test_every_column_can_be_written_as_text() -> None:
    for model in layout.tables():
        for column in layout.columns(model):
            assert kind_of(column)


@pytest.mark.django_db
def test_fourteen_weeks_come_back_with_the_same_totals_seals_and_bytes(
    written: Path, tmp_path: Path
) -> None:
    read_tables(written)
    write_tables(tmp_path / "again")

    for path in written.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes(), path.name
    assert Entry.objects.count() == Seal.objects.count() > 100
    assert sum(Lot.objects.values_list("materials", flat=True)) > 0
    assert append_only.missing(connections[DEFAULT_DB_ALIAS]) == []
    assert_book_is_sound()


@pytest.mark.django_db
def test_the_book_goes_on_after_reading(written: Path) -> None:
    read_tables(written)
    last = Entry.objects.latest("seq").seq
    by = Person.objects.all()[0]
    doing = Doing(by=by, happened_at=timezone.now(), uuid=uuid4(), sure=True)

    entry = receive_supplies(
        doing, supply=Supply.objects.all()[0], quantity=KG, paid_money=UNIT
    ).entry

    assert entry.seq == last + 1
    assert_book_is_sound()


@pytest.mark.django_db
def test_people_come_back_without_passwords(written: Path) -> None:
    read_tables(written)

    people = [str(person) for person in Person.objects.order_by("pk")]
    assert people == ["nora", "tam", "iris", "sol", "vera"]
    assert not any(person.user.has_usable_password() for person in Person.objects.all())
    assert "password" not in (written / "auth_user.csv").read_text()


@pytest.mark.django_db
def test_a_lot_on_hold_is_on_hold_again(tmp_path: Path) -> None:
    with transaction.atomic():
        world = small_farm()
        hold(world.doing(reason="smells musty"), [world.received("rye", KG)])
        write_tables(tmp_path / "held")
        transaction.set_rollback(True)
    read_tables(tmp_path / "held")

    assert Lot.objects.get().held


@pytest.mark.django_db
def test_it_reads_only_into_an_empty_database(farm: Farm, written: Path) -> None:
    with pytest.raises(TablesError, match=r"not empty: farm_farm has rows.*manage\.py migrate"):
        read_tables(written)


@pytest.mark.django_db
def test_it_writes_only_into_an_empty_folder(farm: Farm, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")

    with pytest.raises(FolderError, match=r"is not empty\. Name a new folder"):
        write_tables(tmp_path)


# --- what is wrong is said line by line, and nothing is written -------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("file", "column", "said", "expected"),
    [
        ("farm_species", "moisture_ppm", "much", "line 2, moisture_ppm: “much” is not a whole"),
        ("farm_species", "moisture_ppm", "-1", "line 2, moisture_ppm: Ensure this value is"),
        ("farm_strain", "species_id", "99", "line 2, species_id: 99 is not in farm_species.csv"),
        ("farm_species", "name", "Shiitake", "name: Shiitake stands on line 2 already"),
        ("farm_rate", "of", "gold", "line 2, of: “gold” is not one of paid_hour, own_hour"),
        ("farm_rate", "from_day", "1.9.26", "line 2, from_day: “1.9.26” is not a date"),
        ("farm_rate", "from_day", "", "line 2, from_day: is empty; a date"),
        ("farm_farm", "altitude_m", "9000", "line 2: Give the altitude in metres"),
        ("ledger_line", "quantity", "1", "the seal of entry 1 does not hold"),
        ("ledger_lot", "quantity", "7", "line 2, quantity: 7 is written, the facts give"),
    ],
)
def test_a_wrong_cell_is_named_and_nothing_is_read(
    copy: Path, file: str, column: str, said: str, expected: str
) -> None:
    change(copy / f"{file}.csv", column, said)

    with pytest.raises(TablesError) as refusal:
        read_tables(copy)

    assert expected in str(refusal.value)
    assert not Entry.objects.exists() and not Farm.objects.exists()


@pytest.mark.django_db
def test_a_file_that_is_cut_off_or_gone_or_strange_is_named(copy: Path) -> None:
    path = copy / "farm_saleline.csv"
    path.write_bytes(b"\r\n".join(path.read_bytes().split(b"\r\n")[:-3]) + b"\r\n")
    assert "farm_saleline.csv: " in said_of(copy) and "tables.json says" in said_of(copy)

    path.unlink()
    assert "farm_saleline.csv is missing" in said_of(copy)

    (copy / "extra.csv").write_text("a\r\n")
    assert "extra.csv: no table of this name is known" in said_of(copy)

    (copy / DICTIONARY).unlink()
    assert "has no tables.json" in said_of(copy)


@pytest.mark.django_db
def test_the_commands_say_what_they_did(farm: Farm, written: Path, tmp_path: Path) -> None:
    out = StringIO()
    call_command("write_tables", str(tmp_path / "new"), stdout=out)

    assert "Wrote 1 rows" in out.getvalue()
    with pytest.raises(CommandError, match="Nothing was read in:\nThis database is not empty"):
        call_command("read_tables", str(written))


@pytest.mark.django_db
def test_the_book_takes_over_only_when_it_is_empty(world: World) -> None:
    world.received("rye", KG)

    with pytest.raises(Conflict, match="Take over into an empty one"):
        take_over([])


# --- cells and words -------------------------------------------------------------------------


@pytest.mark.django_db
def test_words_with_commas_quotes_and_formulas_stand_as_they_are(
    farm: Farm, tmp_path: Path
) -> None:
    """RFC 4180 2.5 to 2.7: such a field stands in double quotes, a quote is doubled."""
    farm.name = '=1+1, the "old"\r\nfarm'
    farm.save()
    write_tables(tmp_path / "out")

    assert b'1,"=1+1, the ""old""\r\nfarm",' in (tmp_path / "out" / "farm_farm.csv").read_bytes()


def test_files_stand_in_base64() -> None:
    """RFC 4648, section 10: foobar is Zm9vYmFy."""
    column = apps.get_model("farm", "ClosedFile")._meta.get_field("content")

    assert to_text(column, b"foobar") == "Zm9vYmFy"
    assert from_text(column, "Zm9vYmFy") == b"foobar"


def test_the_dictionary_describes_every_column_of_every_file(written: Path) -> None:
    said = json.loads((written / DICTIONARY).read_text())

    for table in said["tables"]:
        with (written / table["file"]).open(newline="") as file:
            rows = list(csv.reader(file))
        assert rows[0] == [column["column"] for column in table["columns"]]
        assert len(rows) == table["rows"] + 1
        assert table["meaning"] and all(column["meaning"] for column in table["columns"])
    assert any("formula" in words for words in said["about"])
    assert said["left_out"]["ledger.Flow"].startswith("worked from the facts")


def test_the_dictionary_says_units_and_what_points_where(written: Path) -> None:
    said = json.loads((written / DICTIONARY).read_text())
    line = next(table for table in said["tables"] if table["table"] == "ledger_line")
    columns = {column["column"]: column for column in line["columns"]}

    assert columns["lot_id"]["refers_to"] == "ledger_lot.id"
    assert columns["given_mg"]["unit"] == "mg"
    assert columns["money"]["meaning"] == "money: what was paid (bought)."
    assert "used" in columns["role"]["choices"]


def test_every_sum_of_money_and_weight_has_a_unit() -> None:
    endings = ("_mg", "_money", "_ppm", "money", "amount", "quantity")
    without = [
        str(column)
        for model in layout.tables()
        for column in layout.columns(model)
        if column.name.endswith(endings) and not unit_of(column)
    ]

    assert without == []


# --- helpers ---------------------------------------------------------------------------------


def change(path: Path, column: str, said: str) -> None:
    """Write something else into the first row's cell."""
    with path.open(newline="") as file:
        rows = list(csv.reader(file))
    rows[1][rows[0].index(column)] = said
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(rows)


def said_of(folder: Path) -> str:
    with pytest.raises(TablesError) as refusal:
        read_tables(folder)
    return str(refusal.value)
