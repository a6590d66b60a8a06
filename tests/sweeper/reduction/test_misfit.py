"""A curve, a floor or a top that the readings contradict is told with its key; what fits is not."""

import numpy as np
import pytest

from sweeper.analysis import MeterFacts
from sweeper.reduction.misfit import misfit_of

SHOWN = np.linspace(-50.0, -20.0, 200)
CURVE = ((-60.0, -133.0), (0.0, -73.0))


def meter(**more: object) -> MeterFacts:
    return MeterFacts("dB-over-S9", bool(more.get("curve")), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "told, key, shown",
    [
        ({"curve": ((-60.0, -133.0), (-45.0, -118.0))}, "curve", "-50 to -20"),
        ({"curve": ((0.0, -133.0), (60.0, -73.0))}, "curve", "0 to 60"),
        ({"floor": -10.0}, "floor", "down to -50"),
        ({"top": -48.0}, "top", "up to -20"),
    ],
)
def test_what_the_readings_contradict_is_told(told: dict[str, object], key: str, shown: str) -> None:
    found = misfit_of(-50.0, -20.0, SHOWN, meter(**told))
    assert found is not None and found[0] == key and shown in found[1] and found[2]


@pytest.mark.parametrize(
    "told", [{"curve": CURVE}, {"floor": -50.0}, {"top": 60.0}, {"floor": -54.0, "top": 0.0}]
)
def test_what_fits_is_not_refused(told: dict[str, object]) -> None:
    assert misfit_of(-50.0, -20.0, SHOWN, meter(**told)) is None
