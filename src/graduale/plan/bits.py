"""The end of a drill bit as a surface, and what to call it.

Places on the end are points (a, b) of the unit disc, 0 at the middle, the rim at 1; (2, 0) is the
tip of a brad point. Local axes (u, v, w): w along the bit, 0 at the deepest point, negative behind.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import refuse
from graduale.records.instrument import Drill

POINT_RISE = math.tan(math.radians(31.0))  # a 118 degree point rises 31 degrees from square
RINGS = ((0.0, 1), (0.2, 8), (0.4, 12), (0.6, 16), (0.8, 24), (1.0, 48))  # radius, places
COARSE_RINGS = ((0.0, 1), (0.5, 8), (1.0, 24))
NEAR = 0.2  # neighbouring places of RINGS are no farther apart
TIP = (2.0, 0.0)


@dataclass(frozen=True)
class Bit:
    """Shape of the end: 'flat', 'ball', 'point118' or 'brad' (flat with a middle point), mm."""

    shape: str
    radius_mm: float
    spur_mm: float

    @property
    def proud_mm(self) -> float:
        """How far the deepest point stands before the rim (the shoulder)."""
        rise = {"flat": 0.0, "ball": self.radius_mm, "point118": self.radius_mm * POINT_RISE}
        return rise.get(self.shape, self.spur_mm)

    @property
    def depth_to(self) -> str:
        """What a depth or gap is measured to; never the shoulder."""
        return {"flat": "face", "ball": "nose"}.get(self.shape, "point")

    @property
    def name(self) -> str:
        """For sheets and lists."""
        words = {"flat": "flat", "ball": "ball nose", "point118": "118° point"}
        shape = words.get(self.shape, f"brad point {self.spur_mm:g} proud")
        return f"{2 * self.radius_mm:g} mm {shape}"


def bit_of(drill: Drill) -> Bit:
    """The bit in the drill. A flat bit with a middle spur cuts as a brad does.

    Errors: Refused when the diameter is not positive or the spur is negative.
    """
    if not (math.isfinite(drill.bit_mm) and drill.bit_mm > 0):
        raise refuse(
            "bit-size", "drill.bit", f"a bit of {drill.bit_mm} mm is no bit; give its diameter"
        )
    if not (math.isfinite(drill.spur_mm) and drill.spur_mm >= 0):
        raise refuse(
            "bit-spur", "drill.spur", "the spur cannot be negative; measure how far it is proud"
        )
    brad = drill.bit_shape == "brad" or (drill.bit_shape == "flat" and drill.spur_mm > 0)
    return Bit(
        "brad" if brad else drill.bit_shape, drill.bit_mm / 2, drill.spur_mm if brad else 0.0
    )


def end_places(bit: Bit, rings: tuple[tuple[float, int], ...] = RINGS) -> Floats:
    """Places (k, 2) over the whole end, with the tip of a brad."""
    angles = [(p, 2 * math.pi * i / n) for p, n in rings for i in range(n)]
    rows = [(p * math.cos(phi), p * math.sin(phi)) for p, phi in angles]
    return freeze([*rows, TIP] if bit.shape == "brad" else rows)


def around(place: Floats, share: float) -> Floats:
    """Places (n, 25, 2) close to place (n, 2); share 1 reaches the neighbouring places of RINGS.

    What would fall off the disc is drawn back to the rim; a tip stays a tip.
    """
    steps = NEAR * share * np.linspace(-1.0, 1.0, 5)
    square = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    near = place[:, None, :] + square
    near = near / np.maximum(np.linalg.norm(near, axis=-1, keepdims=True), 1.0)
    return np.where(_is_tip(place)[:, None, None], place[:, None, :], near)


def _is_tip(places: Floats) -> NDArray[np.bool_]:
    return np.asarray(places[..., 0] > 1.5)


def end_points(bit: Bit, places: Floats) -> Floats:
    """Local points (..., 3) = (u, v, w) of the bit's end at places (..., 2), mm."""
    tip = _is_tip(places)
    disc = np.where(tip[..., None], 0.0, places)
    r, share = bit.radius_mm, np.minimum(np.linalg.norm(disc, axis=-1), 1.0)
    w = np.zeros_like(share)
    if bit.shape == "ball":
        w = r * (np.sqrt(np.maximum(1.0 - share**2, 0.0)) - 1.0)
    elif bit.shape == "point118":
        w = -r * share * POINT_RISE
    elif bit.shape == "brad":
        w = np.where(tip, 0.0, -bit.spur_mm)
    return np.concatenate([r * disc, w[..., None]], axis=-1)
