"""Changes that nothing can notice, since they change nothing; each with its reason."""

from tests.mutants.changes import Change

# By module, function, what stands there and what would.
HARMLESS: dict[tuple[str, str, str, str], str] = {
    (
        "ledger.edges", "_Taken.mass_mg",
        "self.dimension == Dimension.COUNT and (not self.given_mg)",
        "self.dimension == Dimension.COUNT or not self.given_mg",
    ): "what is weighed weighs one each, and a pick takes no pieces",
    ("ledger.working", "held_since", "entry__lt=before", "entry__lte=before"): (
        "an entry marks what it makes, never what it uses: no mark of a source stands at it"
    ),
}  # fmt: skip


def why_harmless(change: Change) -> str:
    """Say why a change changes nothing; blank where it may change something."""
    return HARMLESS.get((change.module, change.scope, change.before, change.after), "")
