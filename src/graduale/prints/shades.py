"""Bands of colour with round edges: eight steps of viridis, dark for low, light for high."""

from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np

from graduale.base.arrays import GridMap

# Eight even steps of the viridis map (Smith and van der Walt 2015, CC0), values as published.
VIRIDIS = (
    "#440154",
    "#46327e",
    "#365c8d",
    "#277f8e",
    "#1fa187",
    "#4ac16d",
    "#a0da39",
    "#fde725",
)
STEPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True)
class Scale:
    """Nine edges of eight bands in `unit`."""

    edges: tuple[float, ...]
    unit: str

    def words(self) -> tuple[str, ...]:
        """The edges as text, all with the same number of decimals."""
        step = self.edges[1] - self.edges[0]
        digits = next(d for d in range(6) if abs(round(step, d) - step) < 1e-9 or d == 5)
        return tuple(f"{e:.{digits}f}" for e in self.edges)


def scale_of(grid: GridMap, unit: str, step: float | None = None) -> Scale:
    """Eight equal bands on round numbers that hold the whole map.

    Errors: ValueError when the map has no value.
    """
    values = grid.values[np.isfinite(grid.values)]
    if not len(values):
        raise ValueError("the map has no value")
    low, high = float(values.min()), float(values.max())
    size = step if step is not None else _round_up(max((high - low) / 8, 1e-3))
    while ceil(high / size - 1e-9) - floor(low / size + 1e-9) > 8 and step is None:
        size = _round_up(size * 1.01)
    first = floor(low / size + 1e-9)
    return Scale(tuple(round((first + k) * size, 6) for k in range(9)), unit)


def _round_up(value: float) -> float:
    ten = 10.0 ** floor(log10(value))
    return next(round(s * ten, 9) for s in STEPS if s * ten >= value - 1e-12)
