"""Actions as force and moment; the bridge as a rigid body on two feet."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import Finding, Refused, refuse

FRICTION = 0.25  # of a string in its notch [no source]


@dataclass(frozen=True, eq=False)
class Wrench:
    """Force (3,) N acting at `point` (3,) mm, with a moment (3,) N mm about that point."""

    force: Floats
    moment: Floats
    point: Floats

    def __post_init__(self) -> None:
        for name in ("force", "moment", "point"):
            object.__setattr__(self, name, freeze(getattr(self, name), (3,)))

    def at(self, point: ArrayLike) -> "Wrench":
        """The same action told about another point."""
        place = np.asarray(point, dtype=np.float64)
        moment = self.moment + np.cross(self.point - place, self.force)
        return Wrench(self.force, moment, place)


def sum_at(actions: list[tuple[Floats, Floats]]) -> Wrench:
    """Sum of (force (3,), point (3,)), told about the mean of the points."""
    force = np.sum([f for f, _ in actions], axis=0)
    centre = np.mean([p for _, p in actions], axis=0)
    moment = np.sum([np.cross(p - centre, f) for f, p in actions], axis=0)
    return Wrench(force, moment, centre)


def foot_share(y_mm: float, bass_foot_y_mm: float, treble_foot_y_mm: float) -> float:
    """Part of a downward press at y that the bass foot bears; outside 0..1 beyond the feet.

    Lever law; Hart, The Violin (1884): a string over a foot bears on it alone.
    Refused when the feet are not apart, bass foot on the bass side.
    """
    gap = bass_foot_y_mm - treble_foot_y_mm
    if not gap > 0.0:
        raise refuse(
            "bridge-feet",
            "bridge",
            "the bass foot must lie on the bass side of the treble foot (larger y); correct it.",
        )
    return (y_mm - treble_foot_y_mm) / gap


def foot_wrenches(top: Wrench, feet: Floats) -> tuple[Wrench, Wrench]:
    """What a rigid bridge loaded by `top` does to its two feet (2, 3): bass, treble. Statics.

    Down: by the moment about x. Along x: by the moment about z. Along y: half each. The moment
    about y is pressure across the foot's width, shared as the press (a lifting foot takes none).
    """
    whole = top.at(np.zeros(3))
    fy = np.full(2, whole.force[1] / 2.0)
    y = feet[:, 1]
    # moment x: y fz - z fy; moment z: x fy - y fx
    fz = _two(y, whole.force[2], whole.moment[0] + feet[:, 2] @ fy)
    fx = _two(y, whole.force[0], feet[:, 0] @ fy - whole.moment[2])
    rest = whole.moment[1] - (feet[:, 2] @ fx - feet[:, 0] @ fz)
    part = np.clip(fz / whole.force[2], 0.0, 1.0)
    force = np.column_stack([fx, fy, fz])
    moment = np.outer(part / part.sum() * rest, [0.0, 1.0, 0.0])
    return (
        Wrench(force[0], moment[0], feet[0]),
        Wrench(force[1], moment[1], feet[1]),
    )


def _two(y: Floats, total: float, moment: float) -> Floats:
    """Two forces at y (2,) with this sum and this sum of y times force."""
    first = (moment - y[1] * total) / (y[0] - y[1])
    return np.array([first, total - first])


def tail_ratio(nut_side: Wrench, tail_side: Wrench, feet: Floats, width_mm: float) -> float:
    """Tension behind the bridge over tension before it, as near to 1 as the feet allow.

    Contact can bear no pull, so the press must fall inside the foot. With equal tension it often
    falls outside (tail side steeper than nut side); friction in the notches makes up the difference
    when the bridge is set upright. Taken: the whole foot bears, the press lies within a sixth of
    its width `width_mm` from the middle (the core of a rectangle). Refused when nothing presses.
    """
    middle = feet.mean(axis=0)
    nut, tail = nut_side.at(middle), tail_side.at(middle)
    if not nut.force[2] + tail.force[2] < 0.0:
        raise _no_press()
    core = width_mm / 6.0
    lever = (nut.moment[1] + tail.moment[1]) / (nut.force[2] + tail.force[2])
    if abs(lever) <= core:
        return 1.0
    bound = core if lever > 0.0 else -core
    rest = tail.moment[1] - bound * tail.force[2]
    ratio = float((bound * nut.force[2] - nut.moment[1]) / rest)
    if not 0.5 < ratio < 2.0:
        raise _no_press()
    return ratio


def _no_press() -> Refused:
    return refuse(
        "no-press",
        "bridge",
        "the strings do not press the bridge on to the top; raise the bridge, or lower nut and "
        "saddle (check their heights above the top's gluing plane).",
    )


def foot_findings(shares: tuple[float, float], friction: float) -> tuple[Finding, ...]:
    """A warning for a foot that lifts, and when notches cannot hold the bridge upright."""
    found = []
    for side, share in zip(("bass", "treble"), shares, strict=True):
        if share < 0.0:
            found.append(
                Finding(
                    "warning",
                    "foot-lifts",
                    "bridge",
                    f"the {side} foot lifts off ({share:.0%} of the press): the strings lie beyond "
                    "the feet; set the feet wider or the strings closer.",
                )
            )
    if friction > FRICTION:
        found.append(
            Finding(
                "warning",
                "bridge-tips",
                "bridge",
                f"only friction of {friction:.2f} in the notches would keep the bridge upright "
                f"(about {FRICTION} can be had); bring the string angles before and behind the "
                "bridge nearer to each other, or lean the bridge.",
            )
        )
    return tuple(found)
