"""The regular grid on which maps of a plate are kept."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, GridMap
from graduale.geometry.outline import Outline


@dataclass(frozen=True, eq=False)
class PlateGrid:
    """Grid lines x_mm (nx,), y_mm (ny,) on whole steps; which nodes lie on the plate (nx, ny)."""

    x_mm: Floats
    y_mm: Floats
    inside: NDArray[np.bool_]

    @cached_property
    def points(self) -> Floats:
        """The nodes on the plate (n, 2), along y first."""
        every = np.stack(np.meshgrid(self.x_mm, self.y_mm, indexing="ij"), axis=-1)
        out: Floats = every[self.inside]
        return out

    def map_of(self, values: Floats) -> GridMap:
        """Values (n,) at the points as a map, NaN off the plate."""
        out = np.full(self.inside.shape, np.nan)
        out[self.inside] = values
        return GridMap(self.x_mm, self.y_mm, out)


def plate_grid(outline: Outline, step_mm: float = 2.0) -> PlateGrid:
    """The grid of a plate.

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
    return PlateGrid(x, y, inside)
