"""A stream of samples through SoapySDR: fresh ones, and where some are missing.

The stream runs all the time, and what nobody takes piles up in the module until it overflows. So whatever has queued up
is dropped first. A module that hands on few samples a call, or none, is asked again; its own waiting would hear of no
stop order.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

from drivers.contracts import Block
from drivers.errors import LinkLost, LinkTimeout
from drivers.waiting import Deadline, monotonic, pause

if TYPE_CHECKING:
    from numpy.typing import NDArray

PART = "receiver"
CHUNK = 1024
"""Some modules hand on nothing before so much is there, and their buffers do not hold much more."""
LOOK_AGAIN_S = 0.005
TIMEOUT, OVERFLOW = -1, -4
"""SoapySDR/Errors.h: SOAPY_SDR_TIMEOUT and SOAPY_SDR_OVERFLOW."""
HAS_TIME = 1 << 2
"""SoapySDR/Constants.h: SOAPY_SDR_HAS_TIME."""
JUMP_NS = 200_000
"""A time stamp that far beyond the last one and its samples: some are missing."""


class SoapySamples:
    """`stream` of `device`, active, at `rate_hz`. `full_scale`: the converter's, in steps; 0 where unknown.

    `latency_s`: how old a sample may be when it is handed on. Callers see to calls that hang (`drivers.foreign`).
    """

    def __init__(
        self, device: Any, stream: Any, rate_hz: float, latency_s: float, timeout_s: float, full_scale: float
    ) -> None:
        self._device, self._stream, self.rate_hz = device, stream, rate_hz
        self.latency_s, self._timeout_s, self._full_scale = latency_s, timeout_s, full_scale

    def within_s(self, count: int, after_s: float) -> float:
        """What so many samples may take."""
        return self._timeout_s + 2 * count / self.rate_hz + max(after_s + self.latency_s - monotonic(), 0.0)

    def take(self, count: int, after_s: float) -> Block:
        """So many samples, none captured before `after_s` as far as `latency_s` tells. LinkTimeout, LinkLost."""
        deadline = Deadline(self.within_s(count, after_s), PART)
        self._drop_until(after_s + self.latency_s, deadline)
        begun_s = monotonic() - self.latency_s
        samples = np.empty(count, np.complex64)
        gaps: list[int] = []
        filled, due_ns = 0, 0
        while filled < count:
            got, time_ns = self._read(samples[filled : filled + CHUNK])
            if got == OVERFLOW or (time_ns and due_ns and abs(time_ns - due_ns) > JUMP_NS):
                gaps.append(filled)
            if got > 0:
                filled += got
                due_ns = time_ns and time_ns + round(got / self.rate_hz * 1e9)
                continue
            self._again(deadline)
        steps = 2.0 / 12.0 / self._full_scale**2 if self._full_scale else 0.0
        return Block(
            samples,
            self.rate_hz,
            (begun_s, monotonic()),
            tuple(sorted(set(gaps))),
            clipped=self._clipped_share(samples),
            step_noise=steps,
        )

    def _drop_until(self, from_s: float, deadline: Deadline) -> None:
        """What was captured earlier, what has queued up since, and the chunk that was half full by then."""
        dropped = np.empty(CHUNK, np.complex64)
        empty = False
        while True:
            got, _ = self._read(dropped)
            if got > 0 or got == OVERFLOW:
                if empty:
                    return
                if deadline.remaining() <= 0.0:
                    raise LinkTimeout(
                        PART, "samples come faster than they can be taken.", "Lower sample_rate_hz."
                    )
            else:
                empty = monotonic() >= from_s
                self._again(deadline)

    def _again(self, deadline: Deadline) -> None:
        if deadline.remaining() <= 0.0:
            raise LinkTimeout(PART, "no samples came.", "Check the device's cable and power.")
        pause(LOOK_AGAIN_S, PART)

    def _read(self, into: "NDArray[np.complex64]") -> tuple[int, int]:
        """How many samples were there (or TIMEOUT, or OVERFLOW), and their time in ns, 0 where it is not told."""
        try:
            told = self._device.readStream(self._stream, [into], len(into), timeoutUs=0)
        except RuntimeError as fault:
            raise LinkLost(
                PART, f"the stream of samples broke: {fault}.", "Check cable and power."
            ) from fault
        count = int(told.ret)
        if count < 0 and count not in (TIMEOUT, OVERFLOW):
            raise LinkLost(PART, f"the stream of samples broke (SoapySDR error {count}).", "Check the cable.")
        return count, int(told.timeNs) if count > 0 and int(told.flags) & HAS_TIME else 0

    def _clipped_share(self, samples: "NDArray[np.complex64]") -> float:
        parts = np.abs(samples.view(np.float32))
        limit = 1.0 - 1.5 / (self._full_scale or 32768.0)
        return float(np.count_nonzero(parts >= limit) / max(len(parts), 1))
