"""The page that the tests of the report look at, written once."""

import pytest

from tests.sweeper.report.written import written


@pytest.fixture(scope="session")
def markup(tmp_path_factory: pytest.TempPathFactory) -> str:
    return written(tmp_path_factory.mktemp("report") / "report.html")
