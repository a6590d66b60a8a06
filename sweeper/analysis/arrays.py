"""Names for the kinds of arrays that are passed about."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
