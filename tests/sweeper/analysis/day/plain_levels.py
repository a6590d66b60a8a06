"""Levels of noise as others find them, to hold ours against."""

import numpy as np
from scipy.special import gammainc, gammaincinv


def twenty_percent_level_db(readings_db, shape):
    """The level exceeded by 80 % of the readings, corrected from the χ² distribution to mean power, dB.

    Shape (visits, readings) to (visits,). The 20 % method of ITU-R SM.1753-2 §10.3; for many readings.
    """
    correction_db = 10 * np.log10(float(gammaincinv(shape, 0.2)) / shape)
    return np.quantile(readings_db, 0.2, axis=1) - correction_db


def lowest_fifth_level_db(readings_db, shape):
    """The mean power of the lowest 20 % of the readings, corrected from the χ² distribution to mean power, dB.

    Shape (visits, readings) to (visits,). Of a gamma law with mean 1 the part of the mean below the quantile q is the
    distribution function of a gamma law of one more shape at q.
    """
    lowest = np.sort(readings_db, axis=1)[:, : readings_db.shape[1] // 5]
    mean_lin = float(gammainc(shape + 1.0, gammaincinv(shape, 0.2))) / 0.2
    return 10 * np.log10((10 ** (lowest / 10)).mean(axis=1)) - 10 * np.log10(mean_lin)
