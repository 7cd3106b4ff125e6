"""A question that a person answers before a doubtful number is written."""

from collections.abc import Sequence

from ledger.errors import Malformed


class PlausibilityQuestion(Malformed):
    """Something is doubtful, not wrong: the page asks, and a yes sends it again, sure."""

    def __init__(self, question: str, lots: Sequence[str] = ()) -> None:
        super().__init__(f"{question} Correct it, or say that it is right.", lots)
        self.question = question
