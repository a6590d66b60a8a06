"""Colours that can be told apart: by contrast, by equal steps, and with the common colour blindnesses."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from sweeper.report import palette

SCHEMES = ("light", "dark")
# Machado, Oliveira and Fernandes 2009, Table 1, severity 1.0 (from memory): linear RGB to what is seen.
BLINDNESS = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}


def linear(colour: str) -> NDArray[np.float64]:
    """IEC 61966-2-1: from an sRGB code to linear light."""
    coded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """CIE 1976 L*a*b* under D65, from linear sRGB."""
    to_xyz = np.array(
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    ratio = (to_xyz @ np.clip(light, 0, 1)) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one: str, other: str) -> float:
    """WCAG 2: (L1 + 0.05) ÷ (L2 + 0.05)."""
    bright = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ linear(each)) for each in (one, other))
    return (bright[1] + 0.05) / (bright[0] + 0.05)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_text_has_the_contrast_that_wcag_asks_for(scheme: str) -> None:
    known = palette.named(scheme)
    for text in ("ink", "soft", "in", "out", "mark", "load"):
        assert contrast(known[text], known["ground"]) >= 4.5, text
    for text in ("ink", "soft", "in", "out"):
        assert contrast(known[text], known["raised"]) >= 4.5, text


@pytest.mark.parametrize("scheme", SCHEMES)
def test_numbers_can_be_read_on_every_step_of_the_ramp(scheme: str) -> None:
    known = palette.named(scheme)
    for step, colour in palette.ramp(scheme).items():
        assert contrast(known["ink"], colour) >= 4.5, step


@pytest.mark.parametrize("scheme", SCHEMES)
def test_steps_of_the_ramp_look_equally_large(scheme: str) -> None:
    # OKLab's claim, checked in another space: CIE L*a*b*, whose own unevenness is why the bounds are not narrower.
    ramp = palette.ramp(scheme)
    seen = [lab(linear(ramp[f"step{step}"])) for step in range(-palette.STEPS, palette.STEPS + 1)]
    steps = [float(np.linalg.norm(b - a)) for a, b in pairwise(seen)]
    half = len(steps) // 2
    for side in (steps[:half], steps[half:]):
        assert max(side) / min(side) < 1.8, side


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("blindness", list(BLINDNESS))
def test_better_and_worse_differ_for_the_colour_blind(scheme: str, blindness: str) -> None:
    ramp, seen_as = palette.ramp(scheme), np.array(BLINDNESS[blindness])
    for step in range(2, palette.STEPS + 1):
        better, worse = (lab(seen_as @ linear(ramp[f"step{sign}{step}"])) for sign in ("", "-"))
        # Ten times the difference that is just noticed, 2.3 (Mahy, Van Eycken, Oosterlinck 1994, from memory).
        assert np.linalg.norm(better - worse) > 23 * step / palette.STEPS, step


def test_values_beyond_the_ends_take_the_ends() -> None:
    assert palette.step_of(0.0, 6.0) == "step0"
    assert palette.step_of(99.0, 6.0) == f"step{palette.STEPS}"
    assert palette.step_of(-99.0, 6.0) == f"step-{palette.STEPS}"
