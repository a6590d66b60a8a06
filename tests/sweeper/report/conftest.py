"""The page that the tests of the report look at, written once a module."""

import pytest

from tests.sweeper.report.written import written


@pytest.fixture(scope="module")
def markup(tmp_path_factory: pytest.TempPathFactory) -> str:
    return written(tmp_path_factory.mktemp("report") / "report.html")
