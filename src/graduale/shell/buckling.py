"""Linear buckling: the factor on all loads at which the shell loses stability."""

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats
from graduale.shell.facets import shape_gradients
from graduale.shell.model import Shell
from graduale.shell.modes import leading
from graduale.shell.solver import Held
from graduale.shell.stress import membrane_force

_BLOCK = 4


def geometric_stiffness(shell: Shell, t_mm: Floats, u: Floats) -> "sp.csc_matrix":
    """K_g (size, size) of the membrane forces under displacement u (size,)."""
    force = membrane_force(shell, t_mm, u)
    tensor = np.empty((len(force), 2, 2))
    tensor[:, 0, 0], tensor[:, 1, 1] = force[:, 0], force[:, 1]
    tensor[:, 0, 1] = tensor[:, 1, 0] = force[:, 2]
    grad = shape_gradients(shell.corners)
    pair = np.einsum("mia,mab,mjb,m->mij", grad, tensor, grad, shell.surface, optimize=True)
    return shell.pattern.gather(shell.translation_form(pair))


def buckling_factor(
    shell: Shell, t_mm: Floats, u: Floats, held: Held, start: Floats | None = None
) -> float:
    """Smallest positive load factor; infinite when nothing is in compression. `held` factors K."""
    return buckling(shell, t_mm, u, held, start)[0]


def buckling(
    shell: Shell, t_mm: Floats, u: Floats, held: Held, start: Floats | None = None
) -> tuple[float, Floats]:
    """The factor and vectors (f, b) from which the next search may start (`start`)."""
    kg = geometric_stiffness(shell, t_mm, u)
    push = sp.csc_matrix(-kg[held.free][:, held.free])
    if start is None:
        start = np.random.default_rng(1).normal(size=(len(held.free), _BLOCK))
    values, vectors = leading(
        lambda v: held.matrix @ v, lambda v, _: held.inner.solve(push @ v), start, _BLOCK // 2, 1e-6
    )
    best = float(values[0])
    return (1.0 / best if best > 0.0 else float("inf")), vectors
