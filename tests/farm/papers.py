"""Read a PDF again as plain words, by pdftotext of poppler-utils."""

import shutil
import subprocess

import pytest


def pdf_words(pdf: bytes) -> str:
    """All words of a PDF in reading order, one blank between them."""
    program = shutil.which("pdftotext")
    if not program:
        pytest.skip("pdftotext (poppler-utils) is not on this machine")
    said = subprocess.run(
        [program, "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return " ".join(said.stdout.decode().split())
