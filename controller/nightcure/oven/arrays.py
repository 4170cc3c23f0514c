"""The one kind of array used here; apart, so that reading a log needs no more than numpy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
