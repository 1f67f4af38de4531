"""The regular grid on which maps of a plate are kept."""

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats
from graduale.geometry.outline import Outline


def plate_grid(outline: Outline, step_mm: float = 2.0) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Grid lines x_mm (nx,), y_mm (ny,) on whole steps, and which nodes lie on the plate (nx, ny).

    The grid covers the plate, and y = 0 is one of its lines. Errors: ValueError when step_mm <= 0.
    """
    if step_mm <= 0.0:
        raise ValueError("step_mm must be positive")
    low = np.floor(outline.xy.min(axis=0) / step_mm).astype(int)
    high = np.ceil(outline.xy.max(axis=0) / step_mm).astype(int)
    x = np.arange(low[0], high[0] + 1) * step_mm
    y = np.arange(low[1], high[1] + 1) * step_mm
    gx, gy = np.meshgrid(x, y, indexing="ij")
    inside = outline.contains(np.column_stack([gx.ravel(), gy.ravel()])).reshape(gx.shape)
    return x, y, inside
