"""The one door to the sparse solver: factor once, solve often."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from graduale.base.arrays import Floats, Ints


class Factor(Protocol):
    """A factored symmetric matrix."""

    def solve(self, right: Floats) -> Floats:
        """x with A x = right, (n,) or (n, k)."""
        ...


@dataclass(frozen=True, eq=False)
class SuperLuFactor:
    """SciPy's SuperLU in symmetric mode."""

    lu: "sla.SuperLU"

    def solve(self, right: Floats) -> Floats:
        """x with A x = right, (n,) or (n, k)."""
        out: Floats = self.lu.solve(np.ascontiguousarray(right))
        return out


def factor(matrix: "sp.csc_matrix") -> Factor:
    """Factors a symmetric, non-singular matrix. Errors: RuntimeError when it is singular."""
    options = {"SymmetricMode": True, "Equil": False}
    return SuperLuFactor(
        sla.splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
    )


@dataclass(frozen=True, eq=False)
class Held:
    """A matrix with some freedoms held at zero: works in full-length vectors."""

    free: Ints
    matrix: "sp.csc_matrix"  # of the free freedoms
    inner: Factor

    def solve(self, right: Floats) -> Floats:
        """Full-length solution, zero on held freedoms."""
        out = np.zeros_like(right)
        out[self.free] = self.inner.solve(right[self.free])
        return out


def factor_held(matrix: "sp.csc_matrix", held: Ints) -> Held:
    """Factors with freedoms `held` at zero; freedoms with an empty row (hanging nodes) are held
    too."""
    size = matrix.shape[0]
    keep = np.ones(size, dtype=bool)
    keep[held] = False
    keep &= matrix.diagonal() != 0.0
    free = np.flatnonzero(keep)
    inner = sp.csc_matrix(matrix[free][:, free])
    return Held(free, inner, factor(inner))
