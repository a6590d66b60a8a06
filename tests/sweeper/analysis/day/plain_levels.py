"""Levels of noise as others find them, to hold ours against."""

import numpy as np
from scipy.special import gammaincinv


def twenty_percent_level_db(readings_db, shape):
    """The level exceeded by 80 % of the readings, corrected from the χ² distribution to mean power, dB.

    Shape (visits, readings) to (visits,). The 20 % method of ITU-R SM.1753-2 §10.3; for many readings.
    """
    correction_db = 10 * np.log10(float(gammaincinv(shape, 0.2)) / shape)
    return np.quantile(readings_db, 0.2, axis=1) - correction_db
