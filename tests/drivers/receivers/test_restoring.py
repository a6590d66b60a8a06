"""On the way back every step is tried: a refused mode must not leave the dial on a measuring channel."""

import pytest

from drivers.errors import LinkTimeout, Refused, RigError, Stuck
from drivers.receivers.dialect import DRIVER as DIALECT
from drivers.receivers.hamlib import DRIVER as HAMLIB
from drivers.receivers.settings import DEAF_AFTER, restore_all
from sweeper.simulation import saltmarsh, serve
from tests.clocks import evening


def test_every_step_is_tried_and_all_that_was_left_is_named() -> None:
    done = []

    def refuses() -> None:
        raise Refused("receiver", "no.")

    steps = [
        ("mode", refuses),
        ("dial", lambda: done.append("dial")),
        ("AGC", lambda: False),
        ("cache", lambda: True),
    ]
    with pytest.raises(Stuck, match="could not restore: mode, AGC") as told:
        restore_all("receiver", steps)
    assert done == ["dial"] and "no." in str(told.value)


def test_a_receiver_that_says_nothing_is_not_asked_for_every_step() -> None:
    asked = []

    def silence() -> None:
        asked.append(1)
        raise LinkTimeout("receiver", "nothing came back.")

    with pytest.raises(Stuck):
        restore_all("receiver", [(str(nth), silence) for nth in range(20)])
    assert len(asked) == DEAF_AFTER


@pytest.mark.parametrize("kind", ["rigctl-net", "k3", "ic7300", "scpi"])
@pytest.mark.parametrize("mode", ["XYZ", "USB 0 T 1", None, ["USB"]])
def test_a_mode_that_is_refused_leaves_the_dial_as_found(kind: str, mode: object) -> None:
    with serve(saltmarsh(), evening(), receiver=kind) as served:
        if kind == "rigctl-net":
            receiver = HAMLIB.open(HAMLIB.options.model_validate({"link": served.receiver_link}))
        else:
            name = {"scpi": "eb200"}.get(kind, kind)
            receiver = DIALECT.open(
                DIALECT.options.model_validate({"link": served.receiver_link, "dialect": name})
            )
        found = dict(receiver.remember())
        receiver.prepare()
        receiver.tune(7_038_500)
        found["tuning"] = {**found["tuning"], "mode": mode}
        with pytest.raises(RigError, match="could not restore: mode"):
            receiver.restore(found)
        receiver.close()
        assert served.receiver.hz == found["tuning"]["hz"]
        assert not served.receiver_log.forbidden
        if kind == "rigctl-net":
            sets = [
                each
                for each in served.receiver_log.last(100)
                if b"set_cache" in each or each[:2] in (b"+F", b"+L")
            ]
            assert b"set_cache 500" in sets[-1]  # last, else hamlib answers from memory what is read back
