"""Queries whose SQL is written once, and asked many times.

Django writes the SQL of a query anew each time it is asked, which takes several times as long as
SQLite takes to answer it. What the book asks for each entry is therefore written once for so many
numbers and each kind of database, and asked with other numbers from then on.
"""

from collections.abc import Callable, Iterable
from typing import Any

from django.db import connection
from django.db.models import QuerySet

Row = tuple[Any, ...]
# Stand for the numbers while the SQL is written; no key and no number of an entry is one of them.
_FIRST_MARK = -(10**15)
_NONE = -1
# More keys are asked for seldom, and then as Django does: a database takes so many at once.
_MOST = 1024


class AskedOften:
    """A query of rows about some keys, in one list or more; ``ask`` says it as Django does."""

    def __init__(self, ask: "Callable[..., QuerySet[Any, Row]]") -> None:
        self._ask = ask
        self._written: dict[tuple[str, tuple[int, ...]], _Written] = {}

    def __call__(self, *keys: Iterable[int]) -> list[Row]:
        """Give the rows; none, without a question, where all lists are empty."""
        asked = [list(some) for some in keys]
        if not any(asked):
            return []
        if max(len(some) for some in asked) > _MOST:
            return list(self._ask(*asked))
        filled = [_filled(some) for some in asked]
        sizes = tuple(len(some) for some in filled)
        written = self._written.get((connection.vendor, sizes))
        if written is None:
            written = self._written[connection.vendor, sizes] = _Written(self._ask, sizes)
        return written.rows([key for some in filled for key in some])


def _filled(keys: list[int]) -> list[int]:
    """Fill a list to 1, 2, 4, 8 and so on with its last key, which is answered once."""
    size = 1 << max(len(keys) - 1, 0).bit_length()
    return keys + (keys[-1:] or [_NONE]) * (size - len(keys))


class _Written:
    """The SQL of a query about so many keys."""

    def __init__(self, ask: "Callable[..., QuerySet[Any, Row]]", sizes: tuple[int, ...]) -> None:
        marks = iter(range(_FIRST_MARK, _FIRST_MARK + sum(sizes)))
        compiler = ask(*([next(marks) for _ in range(size)] for size in sizes)).query.get_compiler(
            connection=connection
        )
        self.sql, self.said = compiler.as_sql()
        # Where a key is said, and which.
        self.places = [
            (place, part - _FIRST_MARK)
            for place, part in enumerate(self.said)
            if isinstance(part, int) and 0 <= part - _FIRST_MARK < sum(sizes)
        ]
        columns = [column for column, _, _ in compiler.select[: compiler.col_count]]
        self.converters = compiler.get_converters(columns)

    def rows(self, keys: list[int]) -> list[Row]:
        said = list(self.said)
        for place, number in self.places:
            said[place] = keys[number]
        with connection.cursor() as cursor:
            cursor.execute(self.sql, said)
            found: list[Row] = cursor.fetchall()
        return [self._converted(row) for row in found] if self.converters else found

    def _converted(self, row: Row) -> Row:
        values = list(row)
        for at, (converters, column) in self.converters.items():
            for convert in converters:
                values[at] = convert(values[at], column, connection)
        return tuple(values)
