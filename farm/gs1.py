"""GS1 keys: check digits, what is wrong with a key, and the web address that one stands in.

The check digit, the lengths and the path of an address are those of the GS1 General Specifications
and of GS1 Digital Link (ISO/IEC 18975). Only keys that GS1 gave the farm, or a partner, belong
here: a made-up one is somebody else's.
"""

from django.core.exceptions import ValidationError

# Where an address means the key and no particular site of it.
CANONICAL = "https://id.gs1.org"
GTIN_LENGTHS = (8, 12, 13, 14)
GTIN, LOT, PLACE, PLACE_PART, PARTY = "01", "10", "414", "254", "417"
# Numbers that a shop may use within its own walls, as they begin in 14 digits (General
# Specifications 1.4; from memory). Between two companies they name nothing.
WITHIN_ONE_SHOP = ("02", "002", "004")


def check_digit(digits: str) -> str:
    """Work out the digit that ends a key: weights 3, 1, 3 … from the right, up to the next ten.

    629104150021: 6 + 6 + 9 + 3 + 0 + 12 + 1 + 15 + 0 + 0 + 2 + 3 = 57, and 3 more are 60.
    """
    total = sum(int(digit) * (1 if at % 2 else 3) for at, digit in enumerate(reversed(digits)))
    return str(-total % 10)


def is_gtin(key: str) -> None:
    """Refuse what is no GTIN of 8, 12, 13 or 14 digits, or is meant for one shop alone."""
    _need_key(key, "GTIN", GTIN_LENGTHS)
    if gtin_14(key).startswith(WITHIN_ONE_SHOP):
        raise ValidationError(
            f"{key} begins like a number for use within one shop: other companies cannot know it. "
            "Give the GTIN that GS1 gave for this pack."
        )


def is_gln(key: str) -> None:
    """Refuse what is no GLN: 13 digits, the last a check digit."""
    _need_key(key, "GLN", (13,))


def is_company_prefix(key: str) -> None:
    """Refuse what cannot be a GS1 company prefix: 4 to 12 digits."""
    if not (_all_digits(key) and 4 <= len(key) <= 12):
        raise ValidationError(
            f"“{key}” is no company prefix: one has 4 to 12 digits. Give it as GS1 wrote it, "
            "without spaces."
        )


def begins_with(gtin: str, prefix: str) -> bool:
    """Say whether a GTIN is one of a company's; one of 8 digits is given by GS1 itself.

    The first of 14 digits says how it is packed. A prefix of the U.P.C. kind is written without
    the zero that stands before it in 13 digits.
    """
    return len(gtin.lstrip("0")) <= 8 or gtin_14(gtin)[1:].startswith((prefix, f"0{prefix}"))


def gtin_14(key: str) -> str:
    """Write a GTIN in 14 digits, as data carry it: zeros go before it."""
    return key.rjust(14, "0")


def link_of_lot(base: str, gtin: str, lot: str) -> str:
    """Give the address of a lot of a product: https://id.gs1.org/01/09501101530003/10/K7M4Q."""
    return f"{base}/{GTIN}/{gtin_14(gtin)}/{LOT}/{lot}"


def link_of_place(gln: str, part: str = "") -> str:
    """Give the address of a place, or of a part of it under a name of its owner's choice."""
    return f"{CANONICAL}/{PLACE}/{gln}" + (f"/{PLACE_PART}/{part}" if part else "")


def link_of_party(gln: str) -> str:
    return f"{CANONICAL}/{PARTY}/{gln}"


def lot_in_link(parts: list[str]) -> str:
    """Take the lot out of the parts of an address's path: what follows 10, after 01 and a GTIN.

    Empty where the address is of another kind. Pairs of key and value may stand behind a site's
    own path, so they are looked for from 01 on.
    """
    if GTIN not in parts:
        return ""
    pairs = parts[parts.index(GTIN) :]
    said = dict(zip(pairs[::2], pairs[1::2], strict=False))
    return said.get(LOT, "")


def _need_key(key: str, what: str, lengths: tuple[int, ...]) -> None:
    if not (_all_digits(key) and len(key) in lengths):
        *most, last = map(str, lengths)
        wanted = f"{', '.join(most)} or {last}" if most else last
        raise ValidationError(
            f"“{key}” is no {what}: one has {wanted} digits. Give all of them, without spaces."
        )
    right = check_digit(key[:-1])
    if key[-1] != right:
        raise ValidationError(
            f"{key} is no {what}: it would end in {right}, not {key[-1]}. Look for a wrong digit."
        )


def _all_digits(key: str) -> bool:
    return key.isascii() and key.isdigit()
