"""Lot codes: short, safe to write by hand on wet tape, one wrong character always noticed.

The alphabet leaves out 0/O and 1/I/L, so it has 31 signs: a prime number, and no longer than
the code's weights, so a weighted sum modulo 31 (the method of ISO 2108's ISBN-10, which uses
modulus 11) finds every single wrong sign and every two signs swapped.
"""

ALPHABET = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
BODY_LENGTH = 4
# Neighbouring numbers must look different on a shelf, so the number is scattered by a
# multiplier without common factor with 31**4; the mapping stays one to one.
_SCATTER, _OFFSET = 387_041, 271_828


def lot_code(number: int) -> str:
    """Write the code of the book's n-th lot; longer than five signs only after 923,521 lots."""
    size = len(ALPHABET) ** BODY_LENGTH
    block, low = divmod(number, size)
    value = block * size + (low * _SCATTER + _OFFSET) % size
    body = ""
    while value or len(body) < BODY_LENGTH:
        value, digit = divmod(value, len(ALPHABET))
        body = ALPHABET[digit] + body
    return body + check_character(body)


# A book of more lots than twelve signs tell apart is none; what is longer is another text.
LONGEST = 12


def check_character(body: str, alphabet: str = ALPHABET) -> str:
    """Work out the check sign: the weights 2, 3, 4... from the right, modulo the alphabet."""
    modulus = len(alphabet)
    total = sum(
        weight * alphabet.index(sign) for weight, sign in enumerate(reversed(body), start=2)
    )
    return alphabet[-total % modulus]


def is_code(text: str) -> bool:
    """Say whether a tidied text is a code with the right check sign."""
    return (
        BODY_LENGTH < len(text) <= LONGEST
        and all(sign in ALPHABET for sign in text)
        and check_character(text[:-1]) == text[-1]
    )


def tidy(text: str) -> str:
    """Forgive what hands and cameras do: lower case, spaces, dashes, signs nobody can see."""
    return "".join(sign for sign in text.upper() if sign.isprintable() and sign not in "- ")


def near(text: str) -> list[str]:
    """List the valid codes that differ from a mistyped one in exactly one sign."""
    typed = tidy(text)
    if len(typed) > LONGEST:
        return []
    changed = (
        typed[:k] + sign + typed[k + 1 :]
        for k in range(len(typed))
        for sign in ALPHABET
        if sign != typed[k]
    )
    return [code for code in changed if is_code(code)]
