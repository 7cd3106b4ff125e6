"""The faces that words on paper are set in: the PDF's own, and one with more letters where needed.

The PDF's own face (Helvetica) keeps files small and has the letters of Western Europe. Words with
any other Latin, Greek or Cyrillic letter are set whole in FiraGO, which runs as wide and of which
only the letters used go into the file.
"""

import unicodedata
from functools import cache
from io import BytesIO

from pymupdf_fonts import fontbuffers
from reportlab.pdfbase.pdfmetrics import registerFont, stringWidth
from reportlab.pdfbase.ttfonts import TTFont

OWN_HAS = "cp1252"
WIDE = {False: "figo", True: "figbo"}  # FiraGO Regular and Bold, SIL Open Font License 1.1
# Scripts that are set letter after letter; others must be shaped or run from the right.
SCRIPTS = ("LATIN", "GREEK", "CYRILLIC")
# Signs that are written in two letters rather than in another face.
SIGNS = str.maketrans({"→": "->", "−": "-", "≥": ">=", "≤": "<="})


def font(bold: bool, words: str = "") -> str:
    """Name the face for some plain words."""
    if _in_own_face(words):
        return "Helvetica-Bold" if bold else "Helvetica"
    return _wide(bold).fontName


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    return stringWidth(words, font(bold, words), size)


def plain(words: str) -> str:
    """Write words in letters that a face here has: Žižka stays, another script becomes "?"."""
    if _in_own_face(words):
        return words
    words = unicodedata.normalize("NFC", words).translate(SIGNS)
    if _in_own_face(words):
        return words
    has = _wide(False).face.charToGlyph
    return "".join(
        letter if ord(letter) in has and _is_set_as_it_stands(letter) else _near(letter)
        for letter in words
    )


def _in_own_face(words: str) -> bool:
    try:
        words.encode(OWN_HAS)
    except UnicodeEncodeError:
        return False
    return True


def _is_set_as_it_stands(letter: str) -> bool:
    return letter.isascii() or not letter.isalpha() or unicodedata.name(letter).startswith(SCRIPTS)


def _near(letter: str) -> str:
    """The letter without its marks, if that helps."""
    base = unicodedata.normalize("NFKD", letter)[0]
    return base.encode(OWN_HAS, "replace").decode(OWN_HAS)


@cache
def _wide(bold: bool) -> TTFont:
    """Read the face once, and only when its letters are needed."""
    name = WIDE[bold]
    face = TTFont(name, BytesIO(fontbuffers[name]()))
    registerFont(face)
    return face
