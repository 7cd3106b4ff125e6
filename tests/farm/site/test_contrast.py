"""The look's colours are told apart by everybody: contrast worked out from the tokens.

Formula and thresholds: WCAG 2.2, "relative luminance", "contrast ratio", success criteria 1.4.3
(4.5:1 for words) and 1.4.11 (3:1 for the edges of what is pressed or typed into, and for focus).
"""

import re
from pathlib import Path

import pytest
from django.conf import settings

Tokens = dict[str, str]
TOKENS = Path(settings.BASE_DIR, "farm/static/farm/tokens.css")
GROUNDS = ("paper", "sheet", "tint")
WORDS = ("ink", "faint-ink", "accent", "good", "check", "stop")
EDGES = ("edge", "accent", "check", "stop")


def schemes() -> dict[str, Tokens]:
    """The colours by scheme; what a scheme does not state anew is as in the light."""
    found: dict[str, Tokens] = {}
    light: Tokens = {}
    blocks = re.split(r"@media \(prefers-color-scheme: dark\)|@media print", TOKENS.read_text())
    for name, block in zip(("light", "dark", "print"), blocks, strict=True):
        light = light or colours(block)
        found[name] = {**light, **colours(block)}
    return found


def colours(block: str) -> Tokens:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", block))


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour: 0 for black, 1 for white."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * one for one in colour[1:])
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_black_on_white_is_21_to_1() -> None:
    """WCAG 2.2: contrast ratios can range from 1 to 21."""
    assert contrast("#000000", "#fff") == pytest.approx(21)
    assert contrast("#1d4f6e", "#1d4f6e") == 1


def test_a_grey_just_enough_on_white_is_known() -> None:
    """#767676 is the lightest grey of 4.5:1 on white; the next, #777777, is not enough."""
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_words_stand_out_from_every_ground(scheme: str) -> None:
    tokens = schemes()[scheme]
    pairs = [(word, ground) for word in WORDS for ground in GROUNDS] + [("on-accent", "accent")]

    faint = {pair: contrast(*(tokens[name] for name in pair)) for pair in pairs}

    assert {pair: ratio for pair, ratio in faint.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_edges_of_boxes_and_the_focus_stand_out(scheme: str) -> None:
    tokens = schemes()[scheme]
    pairs = [(edge, ground) for edge in EDGES for ground in GROUNDS]

    faint = {pair: contrast(*(tokens[name] for name in pair)) for pair in pairs}

    assert {pair: ratio for pair, ratio in faint.items() if ratio < 3} == {}


def test_no_colour_is_named_outside_the_tokens() -> None:
    """Else the contrast worked out here would not be the contrast that is seen."""
    others = [file for file in TOKENS.parent.glob("*.css") if file != TOKENS]

    named = {
        file.name: re.findall(r"(?<![\w-])#[0-9a-fA-F]{3,8}\b(?!\s*[,{])", file.read_text())
        for file in others
    }

    assert {name: found for name, found in named.items() if found} == {}
