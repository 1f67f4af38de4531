"""Linear buckling: the factor on all loads at which the shell loses stability."""

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from graduale.base.arrays import Floats
from graduale.shell.facets import shape_gradients
from graduale.shell.model import Shell
from graduale.shell.solver import Held
from graduale.shell.stress import membrane_force


def geometric_stiffness(shell: Shell, t_mm: Floats, u: Floats) -> "sp.csc_matrix":
    """K_g (size, size) of the membrane forces under displacement u (size,)."""
    force = membrane_force(shell, t_mm, u)
    tensor = np.empty((len(force), 2, 2))
    tensor[:, 0, 0], tensor[:, 1, 1] = force[:, 0], force[:, 1]
    tensor[:, 0, 1] = tensor[:, 1, 0] = force[:, 2]
    grad = shape_gradients(shell.corners)
    pair = np.einsum("mia,mab,mjb,m->mij", grad, tensor, grad, shell.surface, optimize=True)
    return shell.pattern.gather(shell.translation_form(pair))


def buckling_factor(shell: Shell, t_mm: Floats, u: Floats, held: Held) -> float:
    """Smallest positive load factor; infinite when nothing is in compression. `held` factors K."""
    kg = geometric_stiffness(shell, t_mm, u)
    inner = sp.csc_matrix(-kg[held.free][:, held.free])
    inverse = sla.LinearOperator(inner.shape, matvec=held.inner.solve, dtype=np.float64)
    start = np.cos(np.arange(len(held.free)) * 0.7)
    values = sla.eigsh(
        inner,
        k=2,
        M=held.matrix,
        Minv=inverse,
        which="LA",
        v0=start,
        tol=1e-6,
        return_eigenvectors=False,
    )
    largest = float(np.max(values))
    return 1.0 / largest if largest > 0.0 else float("inf")
