"""The daemon's state as Prometheus metrics on a loopback port, where the station file asks for one."""

from collections.abc import Callable, Iterator

from prometheus_client import CollectorRegistry, start_http_server
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from sweeper.daemon.live.messages import State
from sweeper.daemon.run.states import Doing

DOINGS: tuple[Doing, ...] = ("starting", "waiting", "measuring", "paused", "yielding", "stopping")


class _OfState(Collector):
    """Reads the state at the moment of each scrape, so that nothing has to be kept in step."""

    def __init__(self, state: Callable[[], State]) -> None:
        self._state = state

    def collect(self) -> Iterator[Metric]:
        state = self._state()
        passes = CounterMetricFamily(
            "sweeper_passes", "Passes since the daemon started.", labels=["station", "outcome"]
        )
        for outcome, count in (("done", state.done), ("skipped", state.skipped), ("failed", state.failed)):
            passes.add_metric([state.station, outcome], count)
        yield passes
        doing = GaugeMetricFamily(
            "sweeper_doing", "1 for what the daemon does now.", labels=["station", "doing"]
        )
        for name in DOINGS:
            doing.add_metric([state.station, name], float(state.doing == name))
        yield doing
        if state.last_pass is not None:
            last = GaugeMetricFamily(
                "sweeper_last_pass_timestamp_seconds",
                "When the last pass ended.",
                labels=["station", "outcome"],
            )
            last.add_metric([state.station, state.last_pass.outcome], state.last_pass.ended.timestamp())
            yield last
        if state.next_pass is not None:
            upcoming = GaugeMetricFamily(
                "sweeper_next_pass_timestamp_seconds", "When the next pass is due.", labels=["station"]
            )
            upcoming.add_metric([state.station], state.next_pass.timestamp())
            yield upcoming
        if state.wear is not None:
            operations = CounterMetricFamily(
                "sweeper_relay_operations", "Operations for life of the busiest relay.", labels=["station"]
            )
            operations.add_metric([state.station], state.wear.operations)
            yield operations
            share = GaugeMetricFamily(
                "sweeper_relay_life_share",
                "Operations of the busiest relay over its rated life.",
                labels=["station"],
            )
            share.add_metric([state.station], state.wear.share)
            yield share


def serve_metrics(port: int, state: Callable[[], State]) -> tuple[int, Callable[[], None]]:
    """Serve on the loopback address; the port in use, and a function that ends it. OSError when it is taken."""
    registry = CollectorRegistry()
    registry.register(_OfState(state))
    server, thread = start_http_server(port, addr="127.0.0.1", registry=registry)

    def close() -> None:
        server.shutdown()
        server.server_close()
        thread.join(timeout=5)

    return int(server.server_address[1]), close
