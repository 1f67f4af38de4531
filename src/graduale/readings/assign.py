"""Which tap is which mode: the cheapest one-to-one assignment, where taps may be spurious and modes
missing.

Hungarian method (H. W. Kuhn, Naval Research Logistics Quarterly 2, 1955; from memory) as in
`scipy.optimize.linear_sum_assignment`. Costs are twice negative log-likelihoods: a match costs its
squared residual over its variance.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from graduale.base.arrays import Floats, Ints

# A tap that is none of the plate's modes: one in ten [own], anywhere over two octaves, against a
# match within 1 %: 2 ln(9) + 2 ln(1.39) - ln(2 pi 1e-4) = 12.4.
SPURIOUS = 12.4
# A mode between the lowest and the highest tap that was not heard: one in five [own], 2 ln 4.
MISSED = 2.8
_NEVER = 1e9


def assign(
    taps: Floats,
    modes: Floats,
    deviation: Floats,
    allowed: NDArray[np.bool_],
) -> Ints:
    """Mode of each tap (n,), -1 for none. taps (n,), modes (k,) log hz; deviation (n, k) of their
    difference; allowed (n, k)."""
    count = len(taps)
    cost = ((taps[:, None] - modes[None, :]) / deviation) ** 2
    cost -= MISSED * _between(taps, modes)[None, :]
    whole = np.full((count, len(modes) + count), SPURIOUS)
    whole[:, : len(modes)] = np.where(allowed, np.minimum(cost, _NEVER), _NEVER)
    rows, columns = linear_sum_assignment(whole)
    out = np.full(count, -1, dtype=np.int64)
    out[rows] = np.where(columns < len(modes), columns, -1)
    return out


def cost_of(taps: Floats, modes: Floats, deviation: Floats, mode_of: Ints) -> float:
    """What an assignment costs at these modes; deviation (n,) of a tap from its own mode."""
    real = mode_of >= 0
    residual = (taps[real] - modes[mode_of[real]]) / deviation[real]
    silent = _between(taps, modes)
    silent[mode_of[real]] = False
    fit = float(residual @ residual)
    return fit + SPURIOUS * int(np.sum(~real)) + MISSED * int(np.sum(silent))


def allowed_pairs(wanted: Sequence[str | None], names: Sequence[str]) -> NDArray[np.bool_]:
    """(n, k): a tap that the maker named may only be a mode of that name, if there is one."""
    rows = [[want not in names or want == name for name in names] for want in wanted]
    return np.array(rows, dtype=np.bool_).reshape(len(wanted), len(names))


def _between(taps: Floats, modes: Floats) -> NDArray[np.bool_]:
    """Modes within the range that was heard."""
    slack = 0.02
    inside = (modes > taps.min() - slack) & (modes < taps.max() + slack)
    return np.asarray(inside, dtype=np.bool_)
