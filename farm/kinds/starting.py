"""What begins a book: the stock that was there before it."""

from farm.kinds.kind import Kind

OPENING_STOCK = Kind("opening stock")

KINDS = (OPENING_STOCK,)
