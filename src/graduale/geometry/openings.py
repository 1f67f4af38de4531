"""Soundholes: two mirror images with round eyes, an S-curved slot between them, and notches.

The run of the slot is a fair curve (`fair`); its taper and notch are common practice, no source.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.base.findings import Finding, Refused, refuse
from graduale.geometry.arching import Arching
from graduale.geometry.curves import (
    arc_length,
    as_points,
    counter_clockwise,
    drop_repeats,
    resample,
)
from graduale.geometry.fair import Way, fair_curve
from graduale.geometry.outline import Outline
from graduale.records.instrument import Body, Side, Soundholes

END_SHARE = 0.42  # width of the slot where it meets an eye / width at the notch
CURL_DEG = 10.0  # how far the slot rises above the upper eye before it turns
LEAN_MOST = 0.5  # the line that joins the eyes, outward for its run along the body
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


def eyes_of(holes: Soundholes, outline: Outline) -> tuple[Eye, ...]:
    """The four eyes, bass first; none when there are no holes or they are given as points.

    The lower eye stands off the edge by at least `lower_eye_edge_mm`, and by more where the slot
    would lean over by more than one in two.

    Errors: Refused when the lower eye finds no place at its distance from the edge.
    """
    if not holes.present or holes.points:
        return ()
    up_r, low_r = 0.5 * holes.upper_eye_mm, 0.5 * holes.lower_eye_mm
    up = (holes.notch_x_mm + 0.5 * holes.length_mm - up_r, 0.5 * holes.upper_eye_gap_mm + up_r)
    low_x = holes.notch_x_mm - 0.5 * holes.length_mm + low_r
    most_y = up[1] + LEAN_MOST * (up[0] - low_x)
    low = (low_x, min(most_y, _lower_eye_y(holes, outline, low_x)))
    sides: tuple[tuple[Side, float], ...] = (("bass", 1.0), ("treble", -1.0))
    return tuple(
        eye
        for side, sign in sides
        for eye in (
            Eye(side, "upper", up[0], sign * up[1], up_r),
            Eye(side, "lower", low[0], sign * low[1], low_r),
        )
    )


def _lower_eye_y(holes: Soundholes, outline: Outline, x: float) -> float:
    """The y nearest the edge at which the lower eye keeps its distance from the edge."""
    want = holes.lower_eye_edge_mm + 0.5 * holes.lower_eye_mm
    bass, treble = outline.half_widths([x])
    y = np.arange(0.0, float(min(bass[0], treble[0])), 0.02)
    if len(y) == 0:
        raise refuse("soundhole-off", WHERE, "the lower eye lies off the plate; move notch_x")
    column = np.column_stack([np.full(len(y), x), y])
    mirrored = column * np.array([1.0, -1.0])
    room = np.minimum(outline.edge_distance(column), outline.edge_distance(mirrored))
    fits = np.flatnonzero(room >= want)
    if len(fits) == 0:
        raise refuse(
            "soundhole-no-room",
            WHERE,
            f"the lower eye finds no place {holes.lower_eye_edge_mm:g} mm inside the edge at "
            f"x = {x:.0f}; set lower_eye_edge smaller or move notch_x",
        )
    return float(y[fits[-1]])


def soundholes_of(
    holes: Soundholes,
    body: Body,
    outline: Outline,
    arching: Arching | None = None,
    *,
    notched: bool = False,
) -> tuple[Floats, ...]:
    """Rings (k, 2) of bass and treble hole in plan, counter-clockwise; () when absent.

    With an arching, eyes are round and widths true on the arched surface. `notched` cuts the
    notches in, for drawings; a mesh does better without them.
    Errors: Refused when a hole is impossible, reaches the ribs, or meets the other one.
    """
    if not holes.present:
        return ()
    if holes.points:
        rings = tuple(_given(p) for p in holes.points)
    else:
        _check_numbers(holes)
        bass = _hole(holes, eyes_of(holes, outline), arching, notched)
        rings = (bass, counter_clockwise(bass * np.array([1.0, -1.0])))
    _check_place(rings, body, outline)
    return rings


def clearance(poly_a: ArrayLike, poly_b: ArrayLike) -> float:
    """Least distance between two rings (k, 2) or polylines, mm; 0 when they meet or overlap."""
    a, b = (_shape(p) for p in (poly_a, poly_b))
    return float(a.distance(b))


def disc(x_mm: float, y_mm: float, radius_mm: float) -> Floats:
    """A disc as a ring (72, 2), counter-clockwise, for clearances."""
    angle = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    return np.column_stack([x_mm + radius_mm * np.cos(angle), y_mm + radius_mm * np.sin(angle)])


def _shape(points: ArrayLike) -> BaseGeometry:
    xy = as_points(points)
    if len(xy) == 1:
        return shapely.Point(xy[0])
    return shapely.LineString(xy) if len(xy) == 2 else shapely.Polygon(xy)


def _given(points: tuple[tuple[float, float], ...]) -> Floats:
    ring = drop_repeats(as_points(points), closed=True, nearer_than=1e-3)
    if len(ring) < 4 or not np.all(np.isfinite(ring)) or not shapely.Polygon(ring).is_valid:
        raise refuse(
            "soundhole-points",
            WHERE,
            "the points of a soundhole cross themselves or are too few; list them in order",
        )
    return counter_clockwise(ring)


def _check_numbers(holes: Soundholes) -> None:
    sizes = [holes.length_mm, holes.upper_eye_mm, holes.lower_eye_mm, holes.width_mm]
    gaps = [holes.upper_eye_gap_mm, holes.lower_eye_edge_mm, holes.notch_x_mm]
    if not np.all(np.isfinite(sizes + gaps)) or min(sizes + gaps) <= 0.0:
        raise refuse(
            "soundhole-numbers", WHERE, "every soundhole dimension must be greater than zero"
        )
    if holes.length_mm < 2.2 * (holes.upper_eye_mm + holes.lower_eye_mm):
        raise refuse(
            "soundhole-short",
            WHERE,
            f"a length of {holes.length_mm:g} mm is too short for eyes of "
            f"{holes.upper_eye_mm:g} and {holes.lower_eye_mm:g}; mend one of them",
        )


def _hole(
    holes: Soundholes, eyes: tuple[Eye, ...], arching: Arching | None, notched: bool
) -> Floats:
    """Ring of the bass hole."""
    upper, lower = eyes[0], eyes[1]
    run = _run(holes, upper, lower)
    along = arc_length(run)
    share = along / along[-1]
    wide = END_SHARE + (1.0 - END_SHARE) * np.sin(np.pi * share) ** 1.2
    tangent = np.gradient(run, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    normal *= (0.5 * holes.width_mm * wide)[:, None]
    left, right = _laid(arching, run, normal), _laid(arching, run, -normal)
    parts: list[BaseGeometry] = [shapely.Polygon(np.vstack([left, right[::-1]])).buffer(0.0)]
    for eye, away in ((upper, along), (lower, along[-1] - along)):
        centre = np.array([[eye.x_mm, eye.y_mm]])
        ring = _laid(arching, centre, disc(0.0, 0.0, eye.radius_mm))
        near = away < WING_SHARE * eye.radius_mm
        throat = np.vstack([ring, left[near], right[near]])
        parts.append(shapely.MultiPoint(throat).convex_hull)
    if notched:
        parts.append(_notch(holes, run, normal))
    whole = shapely.union_all(parts)
    if not isinstance(whole, shapely.Polygon):
        raise refuse("soundhole-apart", WHERE, "slot and eyes do not meet; make the slot wider")
    ring = np.asarray(whole.exterior.coords)[:, :2]
    return counter_clockwise(drop_repeats(np.asarray(ring), closed=True, nearer_than=0.02))


def _run(holes: Soundholes, upper: Eye, lower: Eye) -> Floats:
    """Middle line of the slot from the top of the upper eye to the bottom of the lower (k, 2)."""
    end = 0.5 * END_SHARE * holes.width_mm
    reach_up, reach_low = max(0.0, upper.radius_mm - end), max(0.0, lower.radius_mm - end)
    fall = upper.x_mm - lower.x_mm
    out = lower.y_mm - upper.y_mm
    lean = float(np.degrees(np.arctan(LEAN_SHARE * out / fall)))
    middle = upper.y_mm + out * (holes.notch_x_mm - upper.x_mm) / -fall
    ways = (
        Way(upper.x_mm + reach_up, upper.y_mm, 90.0 - CURL_DEG),
        Way(holes.notch_x_mm, middle, 180.0 - lean),
        Way(lower.x_mm - reach_low, lower.y_mm, 90.0 - CURL_DEG),
    )
    try:
        return resample(fair_curve(ways), 0.8)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise refuse(
            "soundhole-no-curve",
            WHERE,
            "no fair slot joins the two eyes; correct length, upper_eye_gap or lower_eye_edge",
        ) from error


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
        along = np.array([-out[1], out[0]])
        foot = run[middle] + 0.8 * side
        tip = run[middle] + side + NOTCH_DEEP_MM * out
        base = 0.5 * NOTCH_WIDE_MM * along
        cuts.append(
            shapely.Polygon(
                [
                    foot - base,
                    run[middle] + side - base,
                    tip,
                    run[middle] + side + base,
                    foot + base,
                ]
            )
        )
    return shapely.union_all(cuts)


def _check_place(rings: tuple[Floats, ...], body: Body, outline: Outline) -> None:
    least = body.overhang_mm + body.rib_thickness_mm + 1.5
    findings: list[Finding] = []
    for ring in rings:
        room = outline.edge_distance(ring)
        worst = int(np.argmin(room))
        if room[worst] < least:
            x, y = ring[worst]
            sentence = (
                f"a soundhole is {max(0.0, room[worst]):.1f} mm from the edge at x = {x:.0f}"
                f", y = {y:.0f}, where ribs and gluing surface need {least:.1f}; move or shorten it"
            )
            findings += refuse("soundhole-edge", WHERE, sentence).findings
    for i, a in enumerate(rings):
        for b in rings[i + 1 :]:
            if clearance(a, b) < 4.0:
                sentence = (
                    "the two soundholes meet or leave less than 4 mm; set upper_eye_gap wider"
                )
                findings += refuse("soundhole-overlap", WHERE, sentence).findings
    if findings:
        raise Refused(findings)
