"""The one door to the sparse solver: factor once, solve often.

Behind it: the multifrontal factor of `fronts` for positive definite matrices, SciPy's SuperLU for
the rest. Plans of the last few patterns are kept, so a new thickness on a known mesh costs no new
order of elimination.
"""

import hashlib
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from graduale.base.arrays import Floats, Ints
from graduale.shell.fronts import Plan

_PLANS_KEPT = 6


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


@dataclass(frozen=True, eq=False)
class _Plans:
    """The plans of the last few patterns."""

    kept: "OrderedDict[bytes, Plan]" = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def of(self, matrix: "sp.csc_matrix") -> Plan:
        """The plan of a matrix with sorted indices, made if it is not known."""
        mark = hashlib.blake2b(matrix.indptr.tobytes(), digest_size=16)
        mark.update(matrix.indices.tobytes())
        key = mark.digest()
        with self.lock:
            if key in self.kept:
                self.kept.move_to_end(key)
                return self.kept[key]
        plan = Plan.of(matrix)
        with self.lock:
            self.kept[key] = plan
            while len(self.kept) > _PLANS_KEPT:
                self.kept.popitem(last=False)
        return plan


_PLANS = _Plans()


def factor(matrix: "sp.csc_matrix") -> Factor:
    """Factors a symmetric, non-singular matrix. Errors: RuntimeError when it is singular."""
    if not matrix.has_sorted_indices:
        matrix = matrix.sorted_indices()
    try:
        return _PLANS.of(matrix).factor(matrix.data)
    except RuntimeError:  # not positive definite
        return factor_lu(matrix)


def factor_lu(matrix: "sp.csc_matrix") -> SuperLuFactor:
    """The same by SuperLU: any symmetric matrix, and no plan. Errors: RuntimeError when it is
    singular."""
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
