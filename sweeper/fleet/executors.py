"""Where the work of a fleet is done: in processes of this machine, or on a Dask cluster.

Both do the same work on the same items and hand back each item with its result or with what went wrong; the
order in which they come back is theirs. A worker that dies takes nothing else with it.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import as_completed
from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Protocol, TypeVar

from sweeper.errors import UserFacingError

Item = TypeVar("Item")
Result = TypeVar("Result")

TRIES = 3
"""How often an item may lose its worker before it is named as the one that kills them."""


class WorkerLost(UserFacingError):
    """The work on an item took its worker down, each time it was tried."""


class Executor(Protocol):
    """Does `work` on each of `items`."""

    def each(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        """Items with their results, or with the exception that `work` raised or `WorkerLost`."""
        ...


@dataclass(frozen=True)
class ProcessPool:
    """Processes of this machine."""

    workers: int

    def each(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        yield from self._round(work, list(items), self.workers, tries=1)

    def _round(
        self, work: Callable[[Item], Result], items: list[Item], workers: int, tries: int
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        # "spawn": polars runs threads, and a fork of a process with threads may stand still for ever.
        lost: list[Item] = []
        with ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn")) as pool:
            futures = {}
            for item in items:
                try:
                    futures[pool.submit(work, item)] = item
                except BrokenProcessPool:
                    lost.append(item)
            for future in as_completed(futures):
                error = future.exception()
                if isinstance(error, BrokenProcessPool):
                    lost.append(futures[future])
                else:
                    yield futures[future], error if error is not None else future.result()
        if not lost:
            return
        if tries == 1:
            yield from self._round(work, lost, workers, tries + 1)
            return
        # One by one, in a pool of its own each: only the item that kills its worker is lost.
        for item in lost:
            yield item, self._alone(work, item)

    def _alone(self, work: Callable[[Item], Result], item: Item) -> Result | BaseException:
        with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as pool:
            future = pool.submit(work, item)
            error = future.exception()
        if isinstance(error, BrokenProcessPool):
            return WorkerLost(f"{item}: the work on it took its worker down {TRIES} times; it was left out.")
        return error if error is not None else future.result()


@dataclass(frozen=True)
class DaskCluster:
    """Workers of a Dask scheduler, which must have this program installed."""

    scheduler: str
    patience_s: float = 60.0

    def each(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        suspected = []
        for item, outcome in self._tried(work, items):
            if isinstance(outcome, WorkerLost) and len(items) > 1:
                suspected.append(item)  # or another item took down each worker that it was on
            else:
                yield item, outcome
        for item in suspected:
            yield from self._tried(work, [item])

    def _tried(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        waiting = list(items)
        for _ in range(TRIES):
            gone: list[Item] = []
            for item, outcome in self._round(work, waiting):
                if isinstance(outcome, _SchedulerGone):
                    gone.append(item)
                else:
                    yield item, outcome
            waiting = gone
            if not waiting:
                return
        for item in waiting:
            yield (
                item,
                UserFacingError(
                    f"{self.scheduler}: the scheduler went away {TRIES} times while {item} was waiting."
                ),
            )

    def _round(
        self, work: Callable[[Item], Result], items: Sequence[Item]
    ) -> Iterator[tuple[Item, Result | BaseException]]:
        from dask.distributed import Client, KilledWorker
        from dask.distributed import as_completed as finished
        from distributed.client import FutureCancelledError, FuturesCancelledError

        try:
            client = Client(self.scheduler, timeout=self.patience_s, set_as_default=False)
        except (OSError, TimeoutError) as error:
            raise UserFacingError(f"{self.scheduler}: no Dask scheduler answers there ({error}).") from error
        with client:
            futures = {client.submit(work, item, pure=False, retries=TRIES - 1): item for item in items}
            left = dict(futures)
            with suppress(FuturesCancelledError, FutureCancelledError, TimeoutError):
                for future in finished(list(futures), loop=client.loop):
                    item = futures[future]
                    try:
                        outcome: Result | BaseException = future.result()
                    except KilledWorker:
                        outcome = WorkerLost(
                            f"{item}: the work on it took its workers down; it was left out."
                        )
                    except FutureCancelledError:
                        continue
                    except Exception as error:  # whatever `work` raised is this item's outcome, not ours
                        outcome = error
                    left.pop(future)
                    yield item, outcome
            for item in left.values():
                yield item, _SchedulerGone()


class _SchedulerGone(Exception):
    """The scheduler forgot the item; it must be handed in again."""
