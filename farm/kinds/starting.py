"""What begins a book: the stock that was there before it."""

from dataclasses import dataclass
from typing import Annotated

from farm.kinds.kind import Kind
from farm.kinds.particulars import Particulars, Said, Seen, Unit
from ledger.models import Role


@dataclass(frozen=True, kw_only=True)
class FromWorkbook(Particulars):
    """Where in the starting workbook it stands."""

    sheet: Annotated[str, Said("sheet of the starting workbook", seen=Seen.ALL)] = ""
    row: Annotated[int | None, Said("row of that sheet", Unit.NUMBER, Seen.ALL)] = None


OPENING_STOCK = Kind("opening stock", particulars=FromWorkbook, corrects=(Role.BOUGHT,))

KINDS = (OPENING_STOCK,)
