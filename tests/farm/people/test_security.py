"""What keeps strangers out: headers, cookies, what is uploaded, and Django's own list."""

import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from openpyxl import Workbook

from farm.models import Person
from farm.pages.uploads import PHOTO, READINGS, WORKBOOK, FileKind, checked

PROJECT = Path(__file__).resolve().parents[3]


def test_djangos_list_for_a_site_on_the_internet_is_clean(tmp_path: Path) -> None:
    said = {
        **os.environ,
        "FARM_HTTPS": "1",
        "FARM_HOSTS": "farm.example",
        "FARM_SECRET_KEY": "a-key-for-this-test-alone-" + "x1Y2z3" * 6,
        "DATABASE_URL": f"sqlite:///{tmp_path / 'none.sqlite3'}",
    }
    said.pop("FARM_DEBUG", None)
    command = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    done = subprocess.run(command, cwd=PROJECT, env=said, capture_output=True, text=True)

    assert done.returncode == 0, done.stderr
    assert "System check identified no issues" in done.stdout


def test_pages_take_styles_and_scripts_from_this_site_alone(owner: Client) -> None:
    policy = owner.get("/").headers["Content-Security-Policy"]
    parts = dict(part.strip().split(" ", 1) for part in policy.split(";"))

    assert parts["default-src"] == "'self'"
    assert parts["worker-src"] == parts["manifest-src"] == "'self'"
    assert "unsafe-inline" not in policy
    assert "script-src" not in parts  # so that default-src holds for scripts


def test_a_page_is_sent_packed_to_a_browser_that_unpacks(owner: Client) -> None:
    plain, packed = owner.get("/"), owner.get("/", headers={"Accept-Encoding": "gzip"})

    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.content) < len(plain.content) / 2


def test_a_session_cannot_be_read_by_a_script_nor_sent_along_from_elsewhere(
    owner_person: Person,
) -> None:
    owner_person.user.set_password("birch-and-alder")
    owner_person.user.save()
    form = {"username": "olive", "password": "birch-and-alder"}
    cookie = Client().post("/sign-in/", form).cookies["sessionid"]

    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


# --- uploads -----------------------------------------------------------------------------------


def a_workbook() -> bytes:
    file = BytesIO()
    Workbook().save(file)
    return file.getvalue()


def packed(parts: dict[str, bytes]) -> bytes:
    file = BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as whole:
        for name, content in parts.items():
            whole.writestr(name, content)
    return file.getvalue()


GOOD = [
    (PHOTO, b"\xff\xd8\xff\xe0 the rest"),
    (PHOTO, b"\x89PNG\r\n\x1a\n the rest"),
    (PHOTO, b"RIFF....WEBP the rest"),
    (PHOTO, b"....ftypheic the rest"),
    (READINGS, b"time;temperature\r\n14:05;118,2\r\n"),
    (READINGS, "\ufefft;°C".encode("utf-16-le")),
    (WORKBOOK, a_workbook()),
]
BAD = [
    (PHOTO, b"<svg onload='alert(1)'>"),
    (PHOTO, b"GIF89a"),
    (PHOTO, b""),
    (READINGS, b"\x7fELF\0\0\0"),
    (READINGS, a_workbook()),
    (WORKBOOK, b"PK\x03\x04 not whole"),
    (WORKBOOK, packed({"word/document.xml": b"<w/>"})),
    (WORKBOOK, b"name,quantity\nrye,3\n"),
]


@pytest.mark.parametrize(("kind", "content"), GOOD)
def test_a_file_of_its_kind_is_taken_whatever_its_name(kind: FileKind, content: bytes) -> None:
    assert checked(SimpleUploadedFile("anything.bin", content), kind) == content


@pytest.mark.parametrize(("kind", "content"), BAD)
def test_another_kind_is_refused_whatever_its_name(kind: FileKind, content: bytes) -> None:
    name = {PHOTO: "photo.jpg", READINGS: "run.csv", WORKBOOK: "book.xlsx"}[kind]

    with pytest.raises(ValidationError, match="This is no"):
        checked(SimpleUploadedFile(name, content), kind)


@pytest.mark.parametrize("kind", [PHOTO, READINGS, WORKBOOK])
def test_too_large_a_file_is_refused_before_it_is_read(kind: FileKind) -> None:
    file = SimpleUploadedFile("large", bytes(kind.largest_bytes + 1))

    with pytest.raises(ValidationError, match="at most"):
        checked(file, kind)
    assert file.tell() == 0


def test_a_workbook_that_unpacks_to_too_much_is_refused() -> None:
    """101 MB of zeros pack to about 100 kB."""
    bomb = packed({"[Content_Types].xml": b"<Types/>", "xl/workbook.xml": bytes(101_000_000)})

    with pytest.raises(ValidationError, match="no workbook"):
        checked(SimpleUploadedFile("book.xlsx", bomb), WORKBOOK)
