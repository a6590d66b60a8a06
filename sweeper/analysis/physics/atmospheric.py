"""Atmospheric noise of ITU-R P.372 for a place, month and hour, from the coefficients that dvoacap carries.

The library is optional: without it nothing is expected of the atmosphere, and `Expected.causes` and `whole` say so.
Nothing else of that library is used.
"""

from functools import lru_cache
from importlib.util import find_spec
from typing import Any

from sweeper.analysis.physics.external_noise import Component

BLOCK_H = 4


def atmospheric_noise_known() -> bool:
    """Whether the library is installed: the distribution's extra ``atmospheric`` brings it."""
    return find_spec("dvoacap") is not None


@lru_cache(maxsize=8192)
def atmospheric(hz: int, latitude: float, longitude: float, month: int, hour_utc: float) -> Component | None:
    """Median and decile deviations of atmospheric noise, dB above kT₀b; None without the library.

    The Recommendation gives one value for each season and block of four hours of local mean time; so does this,
    without smoothing between blocks. Degrees north and east; valid from 0.01 to 30 MHz.
    """
    if not atmospheric_noise_known():
        return None
    from dvoacap.path_geometry import GeoPoint

    model = _model(month)
    local_h = (hour_utc + longitude / 15) % 24
    middle_h = BLOCK_H * (local_h // BLOCK_H) + BLOCK_H / 2
    model.compute_noise_at_1mhz(GeoPoint.from_degrees(latitude, longitude), middle_h / 24)
    model.compute_distribution(hz / 1e6, 0.0)
    found = model.atmospheric_noise.value
    # the library refers medians to a watt in one hertz
    return Component(float(found.median) + 204.0, float(found.upper), float(found.lower))


@lru_cache(maxsize=12)
def _model(month: int) -> Any:
    from dvoacap.fourier_maps import FourierMaps
    from dvoacap.noise_model import NoiseModel

    maps = FourierMaps()
    maps.set_conditions(month=month, ssn=50, utc_fraction=0.0)  # noise maps know neither sunspots nor time
    return NoiseModel(maps)
