"""A smooth surface on a regular net: bicubic B-splines, twice continuously differentiable.

Fitted to scattered heights by least squares with the bending energy of a thin plate as the
tie-breaker (Duchon 1977 names the energy; penalised B-splines after Eilers & Marx, 'Flexible
smoothing with B-splines and penalties', Statistical Science 11, 1996 [both from memory]).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.linalg import solveh_banded

from graduale.base.arrays import Floats, Ints, freeze

_GAUSS_AT, _GAUSS_WEIGHT = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class Net:
    """Regular net of knots: origin (x, y) mm, step mm, cells along x and y."""

    x0_mm: float
    y0_mm: float
    step_mm: float
    cells_x: int
    cells_y: int

    @property
    def shape(self) -> tuple[int, int]:
        """Number of coefficients along x and y."""
        return self.cells_x + 3, self.cells_y + 3


def net_over(low: ArrayLike, high: ArrayLike, step_mm: float) -> Net:
    """The net that covers the box from `low` to `high` (x, y) mm, centred on it."""
    a, b = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    cells = np.maximum(4, np.ceil((b - a) / step_mm).astype(int))
    origin = 0.5 * (a + b) - 0.5 * cells * step_mm
    return Net(float(origin[0]), float(origin[1]), step_mm, int(cells[0]), int(cells[1]))


def _weights(u: Floats, order: int) -> Floats:
    """The four cubic B-spline pieces at u in 0..1 (m,), or their derivatives by u -> (m, 4)."""
    v = 1.0 - u
    if order == 0:
        parts = [v**3, 3.0 * u**3 - 6.0 * u**2 + 4.0, 3.0 * v**3 - 6.0 * v**2 + 4.0, u**3]
        return np.column_stack(parts) / 6.0
    if order == 1:
        parts = [-(v**2), 3.0 * u**2 - 4.0 * u, 4.0 * v - 3.0 * v**2, u**2]
        return np.column_stack(parts) / 2.0
    return np.column_stack([v, 3.0 * u - 2.0, 3.0 * v - 2.0, u])


def _place(at: Floats, origin: float, step: float, cells: int) -> tuple[Ints, Floats]:
    place = np.clip((at - origin) / step, 0.0, cells - 1e-9)
    index = place.astype(np.int64)
    return index, place - index


@dataclass(frozen=True, eq=False)
class Surface:
    """Heights z(x, y) over a net, held constant beyond it; coefficients (cells_x+3, cells_y+3)."""

    net: Net
    coefficients: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "coefficients", freeze(self.coefficients, self.net.shape))

    def values(self, xy: ArrayLike, orders: tuple[tuple[int, int], ...] = ((0, 0),)) -> Floats:
        """Derivatives of the given orders in (x, y) at points (m, 2) -> (m, len(orders))."""
        pts = np.atleast_2d(np.asarray(xy, dtype=np.float64))
        n = self.net
        i, u = _place(pts[:, 0], n.x0_mm, n.step_mm, n.cells_x)
        j, v = _place(pts[:, 1], n.y0_mm, n.step_mm, n.cells_y)
        wide = n.shape[1]
        sixteen = (np.arange(4)[:, None] * wide + np.arange(4)).ravel()
        patch = self.coefficients.ravel().take((i * wide + j)[:, None] + sixteen)
        patch = patch.reshape(-1, 4, 4)
        along = {a: _weights(u, a) / n.step_mm**a for a in {o[0] for o in orders}}
        across = {b: _weights(v, b) / n.step_mm**b for b in {o[1] for o in orders}}
        half = {b: np.einsum("mij,mj->mi", patch, across[b]) for b in across}
        out = np.empty((len(pts), len(orders)))
        for k, (a, b) in enumerate(orders):
            np.einsum("mi,mi->m", along[a], half[b], out=out[:, k])
        return out


def fit(net: Net, xy: Floats, z: Floats, weight: Floats, stiffness: float) -> Surface:
    """The surface near heights z (m,) at xy (m, 2) with weights (m,), bending weight `stiffness`.

    Minimises sum w (s - z)^2 + stiffness * integral of (s_xx^2 + 2 s_xy^2 + s_yy^2).
    """
    nx, ny = net.shape
    rows = _rows(net, xy)
    weighted = sparse.csr_matrix(rows.multiply(weight[:, None]))
    normal = sparse.coo_matrix(weighted.T @ rows + stiffness * _bending(net))
    band = 3 * ny + 3
    upper = normal.row <= normal.col
    store = np.zeros((band + 1, nx * ny))
    row, col = normal.row[upper], normal.col[upper]
    store[band + row - col, col] = normal.data[upper]
    store[band] += 1e-12 * float(store[band].max())
    solved = solveh_banded(store, weighted.T @ z, overwrite_ab=True, check_finite=False)
    return Surface(net, np.asarray(solved).reshape(nx, ny))


def _rows(net: Net, xy: Floats) -> sparse.csr_matrix:
    ny = net.shape[1]
    i, u = _place(xy[:, 0], net.x0_mm, net.step_mm, net.cells_x)
    j, v = _place(xy[:, 1], net.y0_mm, net.step_mm, net.cells_y)
    four = np.arange(4)
    entries = (_weights(u, 0)[:, :, None] * _weights(v, 0)[:, None, :]).reshape(len(xy), 16)
    columns = ((i[:, None] + four)[:, :, None] * ny + (j[:, None] + four)[:, None, :]).reshape(
        -1, 16
    )
    starts = np.arange(0, 16 * len(xy) + 1, 16)
    size = net.shape[0] * ny
    return sparse.csr_matrix((entries.ravel(), columns.ravel(), starts), shape=(len(xy), size))


def _gram(cells: int, step: float, order: int) -> sparse.csr_matrix:
    """Integral of products of the order-th derivatives of the B-splines (cells+3, cells+3)."""
    u = 0.5 * (_GAUSS_AT + 1.0)
    w = _weights(u, order) / step**order
    block = (w * (0.5 * step * _GAUSS_WEIGHT)[:, None]).T @ w
    start = np.arange(cells)[:, None, None]
    four = np.arange(4)
    row = np.broadcast_to(start + four[:, None], (cells, 4, 4)).ravel()
    col = np.broadcast_to(start + four[None, :], (cells, 4, 4)).ravel()
    data = np.broadcast_to(block, (cells, 4, 4)).ravel()
    return sparse.coo_matrix((data, (row, col)), shape=(cells + 3, cells + 3)).tocsr()


@lru_cache(maxsize=2)
def _bending(net: Net) -> sparse.csr_matrix:
    """Kept for the other plate, whose net is most often the same."""
    x = [_gram(net.cells_x, net.step_mm, k) for k in range(3)]
    y = [_gram(net.cells_y, net.step_mm, k) for k in range(3)]
    total = sparse.kron(x[2], y[0]) + 2.0 * sparse.kron(x[1], y[1]) + sparse.kron(x[0], y[2])
    return sparse.csr_matrix(total)
