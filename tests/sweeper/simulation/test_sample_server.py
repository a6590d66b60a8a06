"""A client that is not ours takes the simulated server for what it claims to be: Debian's rtl-433."""

import os
import shutil
import subprocess

import pytest

from sweeper.clock import SystemClock
from sweeper.simulation import saltmarsh, serve
from sweeper.simulation.receivers.sample_server import SampleServer

pytestmark = [pytest.mark.wires, pytest.mark.clock]


def test_rtl_433_connects_tunes_and_reads_its_samples() -> None:
    if shutil.which("rtl_433") is None:
        assert not os.environ.get("CI"), "rtl-433 is not installed"
        pytest.skip("rtl-433 is not installed")
    with serve(saltmarsh(), SystemClock(), receiver="iq-tcp", ours=False) as served:
        server = served.instrument
        assert isinstance(server, SampleServer)
        place = f"rtl_tcp:127.0.0.1:{server.port}"
        done = subprocess.run(
            ["rtl_433", "-d", place, "-f", "7040000", "-s", "250000", "-g", "40", "-T", "2", "-M", "level"],
            capture_output=True,
            text=True,
            timeout=120,
        )
        said = done.stdout + done.stderr
        assert f"rtl_tcp connected to 127.0.0.1:{server.port} (Tuner: R820T)" in said, said
        assert "Tuned to 7.040MHz" in said
        # it has set frequency, rate, correction and gain by itself, and nothing beyond
        assert (server.samples.tuned.centre_hz, server.samples.tuned.rate_hz) == (7_040_000, 250_000)
        assert {command[0] for command in server.log.last(100)} <= {1, 2, 3, 4, 5, 8, 9}
