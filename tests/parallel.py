"""Which worker runs which test, and when."""

from collections.abc import Sequence

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from tests import tiers


def spread(items: Sequence[pytest.Item]) -> list[pytest.Item]:
    """What takes long first, so that no worker is left with it at the end."""
    return sorted(items, key=lambda item: "whole" not in item.path.parts)


class Scheduler(LoadScopeScheduling):
    """Hands each worker one test after another, and what stands in `TOGETHER` whole, first of all.

    The plugin's own groups are marks that it writes into the names of tests, which pytest 9.2 does not let it do.
    """

    def _split_scope(self, nodeid: str) -> str:
        return next((each for each in tiers.TOGETHER if nodeid.startswith(each)), nodeid)


@pytest.hookimpl(tryfirst=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Scheduler:
    return Scheduler(config, log)
