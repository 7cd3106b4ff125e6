"""A bad supplier lot in a generated year of 10,000 lines; the bench asks the same of 100,000."""

import pytest

from ledger.checks import CHECKS
from tests.bench.farm_rows import attach
from tests.bench.farm_years import build
from tests.bench.planted import differences

LINES = 10_000


@pytest.mark.django_db
def test_a_planted_bad_lot_is_found_everywhere_and_nowhere_else() -> None:
    years = build(LINES)
    rows = attach(years)

    assert [found.broken for found in (check() for check in CHECKS) if found.broken] == []
    assert differences(years, rows) == []
