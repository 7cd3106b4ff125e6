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
    (
        "ledger.tracing", "follow",
        "step.role == Role.MADE and lot != lot_id", "step.role == Role.MADE or lot != lot_id",
    ): "an entry shares out only to what it made, and nothing is carried before the first lot",
    ("ledger.tracing", "composition", "0", "1"): "it is less than a unit of any lot",
    ("ledger.tracing", "", "10", "11"): "a finer share: less than a unit of any lot",
    ("ledger.tracing", "", "15", "16"): "a finer share: less than a unit of any lot",
    ("ledger.tracing", "_whole", "1", "2"): "a lot that nothing came into has nothing behind it",
    ("ledger.full_pass", "kept_flows", "5000", "5001"): "how many rows are read at once",
    ("ledger.full_pass", "all_edges", "5000", "5001"): "how many rows are read at once",
    (
        "ledger.full_pass", "all_edges",
        "Line.objects.filter(role__in=(Role.USED, Role.MADE)).order_by('entry__place')",
        "Line.objects.filter(role__in=(Role.USED, Role.MADE)).order_by('-entry__place')",
    ): "the lines of a place stand together either way, and each place by itself",
    ("ledger.full_pass", "rebuild", "1000", "1001"): "how many rows are written at once",
    ("ledger.guards", "_check_once", "-line.lot.pk", "line.lot.pk"): (
        "what is compared with it is where an object stands in memory, far above any lot's number"
    ),
    ("ledger.book", "take_over", "500", "501"): "so many rows go in one statement",
}  # fmt: skip


def why_harmless(change: Change) -> str:
    """Say why a change changes nothing; blank where it may change something."""
    return HARMLESS.get((change.module, change.scope, change.before, change.after), "")
