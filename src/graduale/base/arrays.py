"""Frozen arrays and maps on a regular grid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def freeze(values: ArrayLike, shape: tuple[int | None, ...] | None = None) -> Floats:
    """A read-only float copy of `values`; `shape` is checked, None matches any length.

    Errors: ValueError when the shape does not fit.
    """
    array = np.array(values, dtype=np.float64, copy=True)
    if shape is not None:
        _check_shape(array.shape, shape)
    array.setflags(write=False)
    return array


def freeze_ints(values: ArrayLike, shape: tuple[int | None, ...] | None = None) -> Ints:
    """A read-only integer copy of `values`; `shape` as in `freeze`."""
    array = np.array(values, dtype=np.int64, copy=True)
    if shape is not None:
        _check_shape(array.shape, shape)
    array.setflags(write=False)
    return array


def _check_shape(have: tuple[int, ...], want: tuple[int | None, ...]) -> None:
    fits = len(have) == len(want) and all(
        w is None or h == w for h, w in zip(have, want, strict=True)
    )
    if not fits:
        raise ValueError(f"array of shape {have} where {want} is needed")


@dataclass(frozen=True, eq=False)
class GridMap:
    """Values on a regular grid in the body frame: rows are x, columns are y, NaN off the plate.

    x_mm (nx,), y_mm (ny,), values (nx, ny).
    """

    x_mm: Floats
    y_mm: Floats
    values: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "x_mm", freeze(self.x_mm, (None,)))
        object.__setattr__(self, "y_mm", freeze(self.y_mm, (None,)))
        shape = (len(self.x_mm), len(self.y_mm))
        object.__setattr__(self, "values", freeze(self.values, shape))

    def at(self, xy: ArrayLike) -> Floats:
        """Bilinear values at points xy (n, 2) -> (n,); NaN corners are left out of the mean."""
        pts = np.atleast_2d(np.asarray(xy, dtype=np.float64))
        i, u = _cell(self.x_mm, pts[:, 0])
        j, v = _cell(self.y_mm, pts[:, 1])
        corners = [(i, j, (1 - u) * (1 - v)), (i + 1, j, u * (1 - v))]
        corners += [(i, j + 1, (1 - u) * v), (i + 1, j + 1, u * v)]
        total, weight = np.zeros(len(pts)), np.zeros(len(pts))
        for a, b, w in corners:
            value = self.values[a, b]
            good = np.isfinite(value)
            total += np.where(good, w * np.where(good, value, 0.0), 0.0)
            weight += np.where(good, w, 0.0)
        out = np.full(len(pts), np.nan)
        known = weight > 1e-9
        out[known] = total[known] / weight[known]
        return out


def _cell(axis: Floats, at: Floats) -> tuple[Ints, Floats]:
    step = (axis[-1] - axis[0]) / (len(axis) - 1)
    place = np.clip((at - axis[0]) / step, 0.0, len(axis) - 1 - 1e-9)
    index = place.astype(np.int64)
    return index, place - index
