"""Names of the types that all rooms use."""

import numpy as np
from numpy.typing import ArrayLike as ArrayLike
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
Point = tuple[float, float, float]
Extent = tuple[float, float, float, float]  # left, right, bottom, top
