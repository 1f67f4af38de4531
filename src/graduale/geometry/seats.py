"""Seats of blocks in plan: where the inside stays flat because a block is glued there."""

from collections.abc import Sequence

import numpy as np

from graduale.base.arrays import Floats


def corner_seats(
    ring: Floats, tips: Sequence[tuple[float, float]], reach_mm: float
) -> list[Floats]:
    """Corner blocks, each the ring within `reach_mm` of a tip on both sides, cut off straight.

    ring (n, 2) closed, the first point not repeated: the edge or the rib line; tips: corner tips,
    the nearest ring point is taken. Returns one ring (k, 2) a tip; none when reach_mm is 0.
    """
    if reach_mm <= 0.0:
        return []
    step = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    return [_seat(ring, step, np.asarray(tip), reach_mm) for tip in tips]


def _seat(ring: Floats, step: Floats, tip: Floats, reach_mm: float) -> Floats:
    at = int(np.argmin(np.linalg.norm(ring - tip, axis=1)))
    return np.array(
        [*_way(ring, step, at, -1, reach_mm)[::-1], ring[at], *_way(ring, step, at, 1, reach_mm)]
    )


def _way(ring: Floats, step: Floats, at: int, turn: int, reach_mm: float) -> list[Floats]:
    """Ring points from `at` on one side up to `reach_mm`, the last one exactly there."""
    out: list[Floats] = []
    gone, here = 0.0, at
    while True:
        there = (here + turn) % len(ring)
        length = float(step[here if turn > 0 else there])
        if gone + length >= reach_mm:
            share = (reach_mm - gone) / length
            out.append(ring[here] + share * (ring[there] - ring[here]))
            return out
        gone, here = gone + length, there
        out.append(ring[here])
