"""Which way the plate lies on the paper: neck up, and the bass side where the eye sees it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.prints.data import PageHead

INSIDE_BASS_RIGHT = {("top", "inside"): 1, ("top", "outside"): -1}
INSIDE_BASS_RIGHT |= {("back", "inside"): -1, ("back", "outside"): 1}


def bass_sign(head: PageHead) -> int:
    """+1 when the bass side is on the right of the page, -1 when on the left.

    Seen from inside with the neck up the bass lies right on the top and left on the back; a
    left-handed body is the mirror image.
    """
    sign = INSIDE_BASS_RIGHT[(head.plate, head.seen_from)]
    return -sign if head.left_handed else sign


@dataclass(frozen=True)
class View:
    """Body frame to drawing frame: u = u0 + sign * y * scale, v = v0 + x * scale."""

    sign: int
    u0: float
    v0: float
    scale: float = 1.0

    def page(self, xy: ArrayLike) -> Floats:
        """(n, 2) body points -> (n, 2) drawing points."""
        pts = np.atleast_2d(np.asarray(xy, dtype=np.float64))
        u = self.u0 + self.sign * self.scale * pts[:, 1]
        return np.column_stack([u, self.v0 + self.scale * pts[:, 0]])

    def point(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """One body point in the drawing."""
        return self.u0 + self.sign * self.scale * y_mm, self.v0 + self.scale * x_mm


def side_words(head: PageHead) -> tuple[str, str]:
    """The words at the left and at the right of the page."""
    return ("TREBLE", "BASS") if bass_sign(head) > 0 else ("BASS", "TREBLE")


def plate_words(head: PageHead) -> str:
    """'TOP seen from INSIDE'."""
    return f"{head.plate.upper()} plate, seen from the {head.seen_from.upper()}"
