"""Giving way to whoever uses the receiver: is somebody there, and when have they been quiet for long enough?"""

from collections.abc import Mapping
from typing import Any

from drivers.errors import InUse, RigError
from sweeper.clock import Clock
from sweeper.daemon.rig.instruments import open_receiver
from sweeper.engine import same_dial
from sweeper.station import Station


class ReceiverIdle:
    """What is known of the person at the receiver: where the dial stood last, and until when to keep quiet."""

    def __init__(self, station: Station, clock: Clock) -> None:
        self._station = station
        self._clock = clock
        self._dial: tuple[int, str] | None = None
        self._quiet_until_s = clock.monotonic()

    @property
    def quiet(self) -> bool:
        """Whether somebody used the receiver so recently that it is still left alone."""
        return self._clock.monotonic() < self._quiet_until_s

    def keep_quiet(self) -> None:
        """Somebody used the receiver just now."""
        self._quiet_until_s = self._clock.monotonic() + self._station.receiver.quiet_time_s

    def gave_way(self) -> None:
        """A pass gave way to somebody at the receiver: wherever they leave the dial is news."""
        self._dial = None
        self.keep_quiet()

    def left_dial_at(self, tuning: Mapping[str, Any] | None) -> None:
        """A pass put the dial back there."""
        self._dial = (int(tuning["hz"]), str(tuning["mode"])) if tuning is not None else None

    def somebody_there(self) -> str:
        """Why the receiver is left alone at this moment, in one sentence; empty when nobody needs it.

        Looks at the receiver without setting anything. A receiver that cannot be reached is in nobody's hands:
        the pass will say what is wrong with it.
        """
        try:
            receiver = open_receiver(self._station)
            try:
                if receiver.is_transmitting():
                    self.keep_quiet()
                    return "the receiver says that its transmitter is on"
                tuning = receiver.tuning()
            finally:
                receiver.close()
        except InUse as held:
            self.keep_quiet()
            return str(held)
        except RigError:
            return ""
        if self._moved_to(tuning.hz, tuning.mode.upper()):
            self.keep_quiet()
            return f"somebody has tuned the receiver to {tuning.hz} Hz {tuning.mode}"
        left_s = self._quiet_until_s - self._clock.monotonic()
        if left_s > 0:
            return f"somebody used the receiver a short while ago; measuring goes on after {left_s:.0f} s of quiet"
        return ""

    def _moved_to(self, hz: int, mode: str) -> bool:
        before, self._dial = self._dial, (hz, mode)
        return before is not None and (not same_dial(before[0], hz) or before[1].upper() != mode)
