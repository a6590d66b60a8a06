"""Which worker runs which test."""

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from tests import tiers


class Scheduler(LoadScopeScheduling):
    """Hands each worker one test after another, and the modules of `TOGETHER` whole, first of all.

    The plugin's own groups are marks that it writes into the names of tests, which pytest 9.2 does not let it do.
    """

    def _split_scope(self, nodeid: str) -> str:
        module = nodeid.partition("::")[0]
        return module if module in tiers.TOGETHER else nodeid


@pytest.hookimpl(tryfirst=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Scheduler:
    return Scheduler(config, log)
