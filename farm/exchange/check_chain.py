"""Check a chain of entries with Python alone: python check_chain.py FOLDER [HEAD]

FOLDER holds facts.jsonl: one entry a line, as JSON with sorted keys and without spaces. `facts` is
what was recorded (columns.json names its columns), `digest` is SHA-256 of the digest before it,
in hexadecimal, followed by the facts. Entries are numbered from 1 without gaps.

HEAD is a digest kept elsewhere, such as on a closed month's report, with or without its spaces. A
chain proves only that it agrees with itself; that its end was not cut off, nor all of it written
anew, shows in HEAD alone.

Exits with 0 where every entry holds, and with 1 at the first that is altered, missing or added.
"""

import hashlib
import json
import sys
from pathlib import Path

FACTS = "facts.jsonl"
DIGITS = 64


class Broken(Exception):
    """The first record that is not as it was sealed."""


def main(given: list[str]) -> int:
    """Check the folder named on the command line; print what was found."""
    if not given:
        print("Say which folder to check: python check_chain.py FOLDER [HEAD]")
        return 2
    try:
        print(check(Path(given[0]), "".join(given[1:])))
    except Broken as broken:
        print(f"BROKEN: {broken}")
        return 1
    return 0


def check(folder: Path, head: str = "") -> str:
    """Say how many entries hold and what the head is; raises Broken at the first that does not."""
    path, wanted = folder / FACTS, "".join(head.split()).lower()
    if not path.is_file():
        raise Broken(f"there is no {FACTS} in {folder}.")
    digest, count, head_at = "", 0, 0
    with path.open("rb") as lines:
        for line in lines:
            count += 1
            digest = follow(line, count, before=digest)
            head_at = count if digest == wanted else head_at
    if head and not head_at:
        raise Broken(_no_head(count, digest, wanted))
    later = f" The head given is that of entry {head_at}; {count - head_at} follow." if head else ""
    return f"{count} entries hold.{later} Head of the chain: {digest or 'none'}"


def follow(line: bytes, number: int, *, before: str) -> str:
    """Return the digest of the entry that must stand on this line; raises Broken."""
    said, facts = read(line, number)
    check_number(facts["entry"][0], number)
    found = hashlib.sha256((before + canonical(facts)).encode()).hexdigest()
    if said != found:
        kind, day = facts["entry"][2], facts["entry"][3]
        raise Broken(
            f"entry {number} ({kind}, {day}) is altered or added. Its facts after the digest "
            f"before it give {found}; it is sealed with {said or 'nothing'}."
        )
    return found


def read(line: bytes, number: int) -> tuple[str, dict[str, list[object]]]:
    """Take a line apart; anything in it that no digest would cover counts as altered."""
    altered = Broken(f"entry {number} is altered: its line in {FACTS} is not as it was written.")
    try:
        text = line.decode().rstrip("\r\n")
        record = json.loads(text)
        said, facts = record["digest"], record["facts"]
        known = len(facts["entry"]) > 3 and canonical({"digest": said, "facts": facts}) == text
    except (ValueError, KeyError, TypeError, RecursionError):
        raise altered from None
    if not known:
        raise altered
    return said, facts


def check_number(found: object, number: int) -> None:
    """Refuse a line whose entry is not the next."""
    if found == number and type(found) is int:
        return
    if type(found) is int and 0 < found < number:
        raise Broken(f"entry {found} stands again on line {number}: one was added, or moved.")
    raise Broken(f"entry {number} is missing: entry {found} stands in its place.")


def canonical(data: object) -> str:
    """Write JSON in the one way that digests are made of."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _no_head(count: int, digest: str, wanted: str) -> str:
    if len(wanted) != DIGITS:
        return f"the head given has {len(wanted)} characters; a digest has {DIGITS}. Copy it whole."
    return (
        f"entry {count + 1} is missing: the end was cut off after entry {count}, or the chain was "
        f"written anew. No entry has the digest {wanted}; the last has {digest or 'none'}."
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
