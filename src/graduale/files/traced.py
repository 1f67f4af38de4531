"""Main dimensions read off a traced outline, so that they need not be written a second time."""

import numpy as np

from graduale.base.arrays import Floats
from graduale.files.fields import Points

PLACES = 400


def dimensions_of(points: Points) -> dict[str, float]:
    """Dotted key -> mm of the length, three widths and where they lie, from points (n, 2).

    Widths are chords square to the middle line; the bouts are the widest chords of the lower and
    of the upper part, the waist the narrowest between them.
    """
    ring = np.array(points, dtype=np.float64)
    start, length = float(ring[:, 0].min()), float(np.ptp(ring[:, 0]))
    at = np.linspace(0.0, 1.0, PLACES + 1)[1:-1] * length
    width = _chords(ring, at + start)
    lower = int(np.argmax(np.where(at < 0.45 * length, width, -np.inf)))
    upper = int(np.argmax(np.where(at > 0.6 * length, width, -np.inf)))
    between = np.arange(len(at))
    waist = int(np.argmin(np.where((between >= lower) & (between <= upper), width, np.inf)))
    found = {"body.length": length}
    for name, i in (("upper", upper), ("waist", waist), ("lower", lower)):
        found[f"body.{name}_width"] = round(float(width[i]), 2)
        found[f"body.{name}_at"] = round(float(at[i]), 2)
    return found


def _chords(ring: Floats, at: Floats) -> Floats:
    """Greatest less least y of the ring (n, 2) on the lines x = at (m,) -> (m,)."""
    a, b = ring, np.roll(ring, -1, axis=0)
    low, high = np.minimum(a[:, 0], b[:, 0]), np.maximum(a[:, 0], b[:, 0])
    hit = (at[:, None] >= low) & (at[:, None] <= high) & (high > low)
    run = np.where(high > low, b[:, 0] - a[:, 0], 1.0)
    y = a[:, 1] + (at[:, None] - a[:, 0]) / run * (b[:, 1] - a[:, 1])
    return np.asarray(np.where(hit, y, -np.inf).max(axis=1) - np.where(hit, y, np.inf).min(axis=1))
