"""Before and after, from a store."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeper.errors import Told
from sweeper.reduction import compare_fix
from sweeper.store import Store
from tests.sweeper.reduction.test_summaries import FACTS


@pytest.mark.parametrize("fix", [None, datetime(2026, 3, 4, 12, tzinfo=UTC)])
def test_an_empty_store_has_nothing_to_compare(tmp_path: Path, fix: datetime | None) -> None:
    with Store(tmp_path, "Outpost", 8.1) as store, pytest.raises(Told, match="no readings are stored"):
        compare_fix(store, FACTS, fix)
