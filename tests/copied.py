"""Worlds that are played once in each process, and copied for every later test.

``@copied`` stands before a function that plays a farm by its actions. The first call is played
and what it did to the rows is kept; a later call with equal arguments, which meets the same rows,
puts them back instead, and returns a copy of what the function returned. So tests may change both.
A test that moves the clock, or whose transactions are real, plays for itself; so does each while
it is noted which functions a test calls (``mutants``).
"""

import io
import os
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from hashlib import blake2b
from typing import Any, ParamSpec, TypeVar, cast

from django.contrib.sessions.models import Session
from django.db import connection
from django.db.models import Model
from django.utils import timezone

from tests.table_rows import Change, Rows, changes, put_back, read_rows

P = ParamSpec("P")
R = TypeVar("R")

Reduced = tuple[Callable[..., object], tuple[object, ...]]

_NOW = timezone.now
_AS_USUAL = cast(Reduced, NotImplemented)
_ARE_NOTED = bool(os.environ.get("MUTANTS_CALLS"))
_MOST_KEPT = 400
_MADE_AS = "__dataclass_params__"


@dataclass(frozen=True)
class Play:
    """What a call did to the rows, and what it returned; its arguments are named by number."""

    happened: list[Change]
    returned: bytes


_kept: dict[tuple[Any, ...], Play] = {}


def copied(builder: Callable[P, R]) -> Callable[P, R]:
    """Play what the builder builds once, and copy it from then on."""

    @wraps(builder)
    def built(*args: P.args, **kwargs: P.kwargs) -> R:
        if not (connection.in_atomic_block and timezone.now is _NOW) or _ARE_NOTED:
            return builder(*args, **kwargs)
        said, given = _by_value((args, kwargs))
        before = read_rows()
        key = (builder.__module__, builder.__qualname__, said, _hour(), _digest(before))
        if key in _kept:
            put_back(_kept[key].happened)
            _kept[key] = _kept.pop(key)  # the last that is let go
        else:
            parts = [_parts(one) for one in given]
            sessions = Session.objects.count()
            result = builder(*args, **kwargs)
            assert Session.objects.count() == sessions, "Who signed in cannot be copied."
            moved = [_moved(one, was) for one, was in zip(given, parts, strict=True)]
            play = Play(changes(before, read_rows()), _packed((result, moved), given))
            if len(_kept) >= _MOST_KEPT:
                _kept.pop(next(iter(_kept)))
            _kept[key] = play
        return cast(R, _unpacked(_kept[key].returned, given))

    return built


def _digest(rows: Rows) -> bytes:
    return blake2b(pickle.dumps(rows)).digest()


def _hour() -> datetime:
    """What is due, late or too old depends on the day, which begins with an hour."""
    return timezone.now().replace(minute=0, second=0, microsecond=0)


# --- arguments, by what they say ---------------------------------------------------------------


class _ByValue(pickle.Pickler):
    """Writes rows as their values, and notes each world on the way: it is changed in place."""

    def __init__(self, file: io.BytesIO) -> None:
        super().__init__(file)
        self.fast = True  # equal values are the same bytes, however they are shared
        self.worlds: list[Any] = []

    def reducer_override(self, value: object) -> Reduced:
        if isinstance(value, type):
            return _AS_USUAL
        if _is_world(value) and not any(value is one for one in self.worlds):
            self.worlds.append(value)
        if isinstance(value, Model):
            said = [(k, v) for k, v in value.__dict__.items() if not k.startswith("_")]
            return tuple, ((type(value), said),)
        return _AS_USUAL


def _is_world(value: object) -> bool:
    made_as = getattr(value, _MADE_AS, None)  # only a dataclass has it
    return made_as is not None and not made_as.frozen


def _by_value(value: object) -> tuple[bytes, list[Any]]:
    file = io.BytesIO()
    pickler = _ByValue(file)
    pickler.dump(value)
    return file.getvalue(), pickler.worlds


def _parts(world: object) -> dict[str, bytes]:
    return {name: _by_value(part)[0] for name, part in vars(world).items()}


def _moved(world: object, was: dict[str, bytes]) -> dict[str, Any]:
    """What of a world that was given is another now, such as its clock."""
    now = _parts(world)
    return {name: getattr(world, name) for name in now if now[name] != was.get(name)}


# --- what is returned --------------------------------------------------------------------------


class _Packer(pickle.Pickler):
    def __init__(self, file: io.BytesIO, given: list[Any]) -> None:
        super().__init__(file)
        self.given = given

    def persistent_id(self, value: object) -> int | None:
        return next((k for k, one in enumerate(self.given) if one is value), None)


class _Unpacker(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, given: list[Any]) -> None:
        super().__init__(file)
        self.given = given

    def persistent_load(self, number: int) -> object:
        return self.given[number]


def _packed(value: object, given: list[Any]) -> bytes:
    file = io.BytesIO()
    _Packer(file, given).dump(value)
    return file.getvalue()


def _unpacked(packed: bytes, given: list[Any]) -> object:
    """A copy of what was returned, with what was given in its place, moved on."""
    result, moved = _Unpacker(io.BytesIO(packed), given).load()
    for world, parts in zip(given, moved, strict=True):
        vars(world).update(parts)
    return result
