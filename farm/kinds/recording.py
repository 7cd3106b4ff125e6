"""What changes an entry: taken back, corrected."""

from farm.kinds.kind import Kind

UNDO = Kind("undo")
CORRECT = Kind("correct")

KINDS = (UNDO, CORRECT)
