"""Refusals whose remedy lies elsewhere on the farm: each names what to do, and knows no page."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.db.models import Model

from ledger.errors import Malformed

if TYPE_CHECKING:
    from farm.kinds.kind import Kind


class MendedByRecording(Malformed):
    """An entry of ``kind`` is recorded instead or before: of the lots named, or of a ``row``."""

    def __init__(
        self, message: str, lots: Sequence[str] = (), *, kind: "Kind", row: Model | None = None
    ) -> None:
        super().__init__(message, lots)
        self.kind = kind
        self.row = row


class MendedInDetails(Malformed):
    """What is known of the farm stops it: a row says otherwise, or no row of a model says it."""

    def __init__(self, message: str, lots: Sequence[str] = (), *, of: Model | type[Model]) -> None:
        super().__init__(message, lots)
        self.of = of
