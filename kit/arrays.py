"""Names of the types that all rooms use."""

import numpy as np
from numpy.typing import ArrayLike as ArrayLike
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
Point = tuple[float, float, float]
Extent = tuple[float, float, float, float]  # left, right, bottom, top


def unbeaten(costs: Array) -> Index:
    """Return the rows (row, cost) that no other beats: as low in all and lower in one; of equal rows the first."""
    # In this order only an earlier one can be as good in everything.
    left, index = np.lexsort(costs.T[::-1]), list[int]()
    while left.size:
        index.append(int(left[0]))
        left = left[np.any(costs[left] < costs[left[0]], axis=1)]
    return np.array(index, dtype=np.intp)
