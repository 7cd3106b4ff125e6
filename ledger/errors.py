"""What can go wrong, as a tree.

BookError
    Refused             the book does not accept this; nothing was written
        Malformed       the submission itself makes no sense
        NotEnough       a lot would fall below zero at some place in the order
        OnHold          a lot on hold may not be used or sold
        Conflict        the same UUID came before with other content
        NotStanding     what is to be amended was already taken back
    Broken              a truth of the book does not hold (found by checks)

Every message names the lot, the number and the remedy.
"""

from collections.abc import Sequence
from datetime import datetime


class BookError(Exception):
    """Anything the book has to say against something."""


class Refused(BookError):
    """The book does not accept this submission; nothing was written."""

    def __init__(self, message: str, lots: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.lots = tuple(lots)


class Malformed(Refused):
    """The submission states something that no book entry can state."""


class NotEnough(Refused):
    """A lot would fall below zero; ``entry_seq`` is the first entry that would fail.

    ``dependants``: the entries to take back first, newest first, where that would help.
    """

    def __init__(
        self, message: str, lots: Sequence[str], *, entry_seq: int, dependants: Sequence[int] = ()
    ) -> None:
        super().__init__(message, lots)
        self.entry_seq = entry_seq
        self.dependants = tuple(dependants)


class OnHold(Refused):
    """A lot on hold may be moved, weighed, counted, taken back or binned, nothing else.

    ``since``: what was done before that may be told late, with a reason.
    """

    def __init__(
        self, message: str, lots: Sequence[str] = (), *, since: datetime | None = None
    ) -> None:
        super().__init__(message, lots)
        self.since = since


class Conflict(Refused):
    """The same UUID arrived before with other content; both are kept."""


class NotStanding(Refused):
    """The entry was taken back already; record it anew instead."""


class Broken(BookError):
    """A truth of the book does not hold."""
