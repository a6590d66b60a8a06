"""Samples that no converter gives are refused, in sound and in samples of a band alike."""

import math

import numpy as np
import pytest

from drivers.errors import BadReply
from drivers.samples.full_scale import check_samples


@pytest.mark.parametrize("kind", [np.float32, np.complex64])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1000.0])
def test_no_numbers(kind: type, value: float) -> None:
    samples = np.zeros(8, kind)
    samples[3] = value
    with pytest.raises(BadReply, match=r"no numbers that a converter gives\. Unplug it"):
        check_samples(samples, "receiver")


@pytest.mark.parametrize("kind", [np.float32, np.complex64])
def test_numbers(kind: type) -> None:
    check_samples(np.full(8, -999.0, kind), "receiver")
    check_samples(np.zeros(0, kind), "receiver")
