"""The drawing of one soundhole: a tapered slot along a fair curve between two round eyes.

The run of the slot is a fair curve (`fair`); its taper and notch are common practice, no source.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.geometry.arching import Arching
from graduale.geometry.curves import arc_length, counter_clockwise, drop_repeats, resample
from graduale.geometry.fair import Way, fair_curve
from graduale.records.instrument import Side, Soundholes

END_SHARE = 0.42  # width of the slot where it meets an eye / width at the notch
CURL_DEG = 10.0  # how far the slot rises above the upper eye before it turns
LEAN_SHARE = 0.42  # lean of the slot at the notch / lean of the line that joins the eyes
WING_SHARE = 1.2  # length over which the slot flares into an eye / radius of the eye
NOTCH_DEEP_MM, NOTCH_WIDE_MM = 1.2, 1.6
WHERE = "soundholes"


@dataclass(frozen=True)
class Eye:
    """A round end of a soundhole, to be drilled: centre and radius (mm), in plan."""

    side: Side
    which: Literal["upper", "lower"]
    x_mm: float
    y_mm: float
    radius_mm: float


def disc(x_mm: float, y_mm: float, radius_mm: float) -> Floats:
    """A disc as a ring (72, 2), counter-clockwise, for clearances."""
    angle = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    return np.column_stack([x_mm + radius_mm * np.cos(angle), y_mm + radius_mm * np.sin(angle)])


def slot_run(
    holes: Soundholes, eyes: tuple[Eye, Eye], inward: float, straight_deg: float = 0.0
) -> Floats:
    """Middle line of the slot from the top of the upper eye to the bottom of the lower (k, 2).

    At the notch it lies `inward` mm nearer the middle than the line that joins the eyes. It leaves
    its eyes by `straight_deg` straighter than usual, so that it swings out less beside them.
    Errors: Refused when no fair curve joins the eyes.
    """
    upper, lower = eyes
    end = 0.5 * END_SHARE * holes.width_mm
    reach_up, reach_low = max(0.0, upper.radius_mm - end), max(0.0, lower.radius_mm - end)
    fall = upper.x_mm - lower.x_mm
    out = lower.y_mm - upper.y_mm
    lean = float(np.degrees(np.arctan(LEAN_SHARE * out / fall)))
    middle = upper.y_mm + out * (holes.notch_x_mm - upper.x_mm) / -fall - inward
    ways = (
        Way(upper.x_mm + reach_up, upper.y_mm, 90.0 - CURL_DEG + straight_deg),
        Way(holes.notch_x_mm, middle, 180.0 - lean),
        Way(lower.x_mm - reach_low, lower.y_mm, 90.0 - CURL_DEG + straight_deg),
    )
    try:
        return resample(fair_curve(ways), 0.8)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise refuse(
            "soundhole-no-curve",
            WHERE,
            "no fair slot joins the two eyes; correct length, upper_eye_gap or lower_eye_edge",
        ) from error


def hole_ring(
    holes: Soundholes,
    eyes: tuple[Eye, Eye],
    run: Floats,
    arching: Arching | None,
    notched: bool,
) -> Floats:
    """Ring (k, 2) of the hole of these eyes (upper, lower) with a slot along `run` (m, 2).

    Errors: Refused when slot and eyes do not meet.
    """
    normal = _half_widths(holes, run)
    left, right = _laid(arching, run, normal), _laid(arching, run, -normal)
    parts: list[BaseGeometry] = [shapely.Polygon(np.vstack([left, right[::-1]])).buffer(0.0)]
    along = arc_length(run)
    for eye, away in zip(eyes, (along, along[-1] - along), strict=True):
        centre = np.array([[eye.x_mm, eye.y_mm]])
        rim = _laid(arching, centre, disc(0.0, 0.0, eye.radius_mm))
        near = away < WING_SHARE * eye.radius_mm
        throat = np.vstack([rim, left[near], right[near]])
        parts.append(shapely.MultiPoint(throat).convex_hull)
    if notched:
        parts.append(_notch(holes, run, normal))
    whole = shapely.union_all(parts)
    if not isinstance(whole, shapely.Polygon):
        raise refuse("soundhole-apart", WHERE, "slot and eyes do not meet; make the slot wider")
    ring = np.asarray(whole.exterior.coords, dtype=np.float64)[:, :2]
    return counter_clockwise(drop_repeats(ring, closed=True, nearer_than=0.02))


def _half_widths(holes: Soundholes, run: Floats) -> Floats:
    """From the slot's middle line to its left side (m, 2): widest at the notch, tapered."""
    share = arc_length(run) / arc_length(run)[-1]
    wide = END_SHARE + (1.0 - END_SHARE) * np.sin(np.pi * share) ** 1.2
    tangent = np.asarray(np.gradient(run, axis=0), dtype=np.float64)
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    return np.asarray(normal * (0.5 * holes.width_mm * wide)[:, None])


def _laid(arching: Arching | None, at: Floats, offset: Floats) -> Floats:
    """Points in plan whose offsets (m, 2) from `at` (m or 1, 2) are true on the arched surface."""
    if arching is None:
        return at + offset
    slope = arching.gradient(at)
    steep = np.hypot(*slope.T)[:, None]
    down = slope / np.maximum(steep, 1e-12)
    short = 1.0 - 1.0 / np.sqrt(1.0 + steep**2)
    return np.asarray(at + offset - short * np.sum(offset * down, axis=1)[:, None] * down)


def _notch(holes: Soundholes, run: Floats, normal: Floats) -> BaseGeometry:
    """A small cut into both sides of the slot at the notch line."""
    middle = int(np.argmin(np.abs(run[:, 0] - holes.notch_x_mm)))
    cuts = []
    for side in (normal[middle], -normal[middle]):
        out = side / np.hypot(*side)
        rim = run[middle] + side
        base = 0.5 * NOTCH_WIDE_MM * np.array([-out[1], out[0]])
        within = -0.2 * side
        corners = [rim + within - base, rim - base, rim + NOTCH_DEEP_MM * out, rim + base]
        cuts.append(shapely.Polygon([*corners, rim + within + base]))
    return shapely.union_all(cuts)
