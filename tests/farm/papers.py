"""Read again what is handed out: a page, and a PDF as plain words (pdftotext, poppler-utils)."""

import shutil
import subprocess

import pytest
from django.test import Client


def pdf_words(pdf: bytes) -> str:
    """All words of a PDF in reading order, one blank between them."""
    program = shutil.which("pdftotext")
    if not program:
        pytest.skip("pdftotext (poppler-utils) is not on this machine")
    said = subprocess.run(
        [program, "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return " ".join(said.stdout.decode().split())


def text(client: Client, address: str) -> str:
    """The page at an address, which must be there."""
    response = client.get(address)
    assert response.status_code == 200, address
    return response.content.decode()
