"""Which worker runs which test, and when."""

from collections.abc import Sequence

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from tests import tiers


def spread(items: Sequence[pytest.Item]) -> list[pytest.Item]:
    """What takes long first, so that no worker is left with it at the end; what waits, evenly among what reckons."""
    long_first = sorted(items, key=lambda item: "whole" not in item.path.parts)
    waiting = [item for item in long_first if item.nodeid.partition("::")[0] in tiers.WAITING]
    reckoning = [item for item in long_first if item.nodeid.partition("::")[0] not in tiers.WAITING]
    at = {
        item.nodeid: (number + 0.5) / len(each)
        for each in (waiting, reckoning)
        for number, item in enumerate(each)
    }
    return sorted(long_first, key=lambda item: at[item.nodeid])


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
