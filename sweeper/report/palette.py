"""Colours of report and page, in a light and a dark scheme, and the two-ended ramp for S/N change.

Names, not values, go into pictures: a style sheet gives each name its value for the reader's scheme. The ramp runs in
equal steps through OKLab (B. Ottosson 2020), where equal distances look equally different; its two hues, ochre and
teal, lie on the blue-yellow axis, which the common colour blindnesses leave alone.
"""

from math import cos, radians, sin

STEPS = 5
"""Steps of the ramp on each side of its middle."""

LIGHT: dict[str, str] = {
    "ground": "#fbf8f0",
    "raised": "#f1ecdf",
    "ink": "#1c2a33",
    "soft": "#55626b",
    "rule": "#cfc8b8",
    "in": "#05636a",
    "out": "#8a4b00",
    "antenna": "#1c2a33",
    "load": "#7a4a9e",
    "floor": "#e6dfd0",
    "mark": "#b0305c",
    "focus": "#0a58ca",
}
DARK: dict[str, str] = {
    "ground": "#10181d",
    "raised": "#1a252c",
    "ink": "#ece6d8",
    "soft": "#a7b1b6",
    "rule": "#3d4a52",
    "in": "#6fd0cf",
    "out": "#f2b862",
    "antenna": "#ece6d8",
    "load": "#c9a0ee",
    "floor": "#25323a",
    "mark": "#ff86ab",
    "focus": "#8ab8ff",
}

TEAL_DEGREES, OCHRE_DEGREES = 200.0, 70.0


def ramp(scheme: str) -> dict[str, str]:
    """``step-5`` … ``step0`` … ``step5`` as hexadecimal colours, for ``light`` or ``dark``."""
    middle, end, chroma = (0.95, 0.70, 0.12) if scheme == "light" else (0.28, 0.48, 0.10)
    found = {}
    for step in range(-STEPS, STEPS + 1):
        share = abs(step) / STEPS
        hue = radians(TEAL_DEGREES if step > 0 else OCHRE_DEGREES)
        lightness = middle + (end - middle) * share
        found[f"step{step}"] = _hex(lightness, chroma * share * cos(hue), chroma * share * sin(hue))
    return found


def named(scheme: str) -> dict[str, str]:
    """Every colour name with its value in ``light`` or ``dark``."""
    return (LIGHT if scheme == "light" else DARK) | ramp(scheme)


def style_variables(scheme: str) -> str:
    """The colours as declarations for a style sheet."""
    return " ".join(f"--{name}: {value};" for name, value in named(scheme).items())


def step_of(value: float, reach: float) -> str:
    """The name of the ramp's step for `value`, the ends of the ramp standing for ±`reach`."""
    step = round(value / reach * STEPS)
    return f"step{max(-STEPS, min(STEPS, step))}"


def _hex(lightness: float, a: float, b: float) -> str:
    """OKLab to sRGB, out-of-gamut parts clipped."""
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )
    return "#" + "".join(f"{round(255 * _gamma(min(1.0, max(0.0, part)))):02x}" for part in linear)


def _gamma(linear: float) -> float:
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
