"""Soundholes: two mirror images with round eyes, an S-curved slot between them, and notches."""

from dataclasses import replace
from functools import lru_cache
from itertools import product

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.base.findings import Finding, Refused, refuse
from graduale.geometry.arching import Arching
from graduale.geometry.curves import as_points, counter_clockwise, drop_repeats
from graduale.geometry.outline import Outline
from graduale.geometry.slot import WHERE, Eye, disc, hole_ring, slot_run
from graduale.records.instrument import Body, Soundholes

__all__ = ["Eye", "clearance", "disc", "eyes_of", "soundholes_of"]

LEAN_MOST = 0.5  # the line that joins the eyes, outward for its run along the body
GLUED_MM = 1.5  # of gluing surface beyond the ribs that an opening must leave
HAIR_MM = 0.2  # over the least room, as the slot widens a little on the arch
STRIDE = 20  # places of 0.02 mm
PULLS = 4  # places of the lower eye that are tried
STRAIGHTER_DEG = (0.0, 25.0, 50.0, 75.0)  # how much straighter the slot may run into its eyes
SPARE_MM = 2.0  # more room than that is sought for the slot


def eyes_of(holes: Soundholes, outline: Outline, body: Body) -> tuple[Eye, ...]:
    """The four eyes, bass first; none when there are no holes or they are given as points.

    The lower eye stands off the edge by at least `lower_eye_edge_mm`, and by more where the slot
    would lean over by more than one in two, or come on to the ribs of a narrow waist.

    Errors: Refused when a number is impossible, the lower eye finds no place at its distance from
    the edge, or no slot joins the eyes.
    """
    if not holes.present or holes.points:
        return ()
    bass = _laid_out(holes, outline, body)[0]
    treble = (replace(e, side="treble", y_mm=-e.y_mm) for e in bass)
    return (*bass, *treble)


@lru_cache(maxsize=8)
def _laid_out(holes: Soundholes, outline: Outline, body: Body) -> tuple[tuple[Eye, Eye], Floats]:
    """The bass eyes (upper, lower) and the middle line (k, 2) of the slot between them.

    Until the slot has room in the waist, the lower eye is drawn in toward the upper one's line, and
    the slot runs straighter into its eyes.
    """
    _check_numbers(holes)
    upper, lower = _bass_eyes(holes, outline)
    least = _least_room(body)
    best, found = -np.inf, ((upper, lower), np.zeros((0, 2)))
    inmost = min(upper.y_mm, lower.y_mm)
    for straight, y in product(STRAIGHTER_DEG, np.linspace(lower.y_mm, inmost, PULLS)):
        eyes = (upper, replace(lower, y_mm=float(y)))
        clear, run = _clear_run(holes, eyes, straight, outline, least + SPARE_MM)
        if clear > best + 1e-6:
            best, found = clear, (eyes, run)
        if best >= least + HAIR_MM:
            break
    return found


def _bass_eyes(holes: Soundholes, outline: Outline) -> tuple[Eye, Eye]:
    """Upper and lower eye as far out as edge and lean let them."""
    up_r, low_r = 0.5 * holes.upper_eye_mm, 0.5 * holes.lower_eye_mm
    up_x = holes.notch_x_mm + 0.5 * holes.length_mm - up_r
    up_y = 0.5 * holes.upper_eye_gap_mm + up_r
    low_x = holes.notch_x_mm - 0.5 * holes.length_mm + low_r
    most_y = up_y + LEAN_MOST * (up_x - low_x)
    low_y = min(most_y, _lower_eye_y(holes, outline, low_x))
    return Eye("bass", "upper", up_x, up_y, up_r), Eye("bass", "lower", low_x, low_y, low_r)


def _lower_eye_y(holes: Soundholes, outline: Outline, x: float) -> float:
    """The y nearest the edge at which the lower eye keeps its distance from the edge."""
    want = holes.lower_eye_edge_mm + 0.5 * holes.lower_eye_mm
    bass, treble = outline.half_widths([x])
    y = np.arange(0.0, float(min(bass[0], treble[0])), 0.02)
    if len(y) == 0:
        raise refuse("soundhole-off", WHERE, "the lower eye lies off the plate; move notch_x")

    def room(at: Floats) -> Floats:
        column = np.column_stack([np.full(len(at), x), at])
        both = np.vstack([column, column * np.array([1.0, -1.0])])
        return np.asarray(outline.edge_distance(both).reshape(2, -1).min(axis=0))

    # the room changes by no more than the way gone, so most places need no closer look
    rough = np.repeat(room(y[::STRIDE]), STRIDE)[: len(y)]
    near = np.flatnonzero(rough + 0.02 * STRIDE >= want)
    fits = near[room(y[near]) >= want]
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
        eyes, run = _laid_out(holes, outline, body)
        bass = hole_ring(holes, eyes, run, arching, notched)
        rings = (bass, counter_clockwise(bass * np.array([1.0, -1.0])))
    _check_place(rings, body, outline)
    return rings


def clearance(poly_a: ArrayLike, poly_b: ArrayLike) -> float:
    """Least distance between two rings (k, 2) or polylines, mm; 0 when they meet or overlap."""
    a, b = (_shape(p) for p in (poly_a, poly_b))
    return float(a.distance(b))


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


def _clear_run(
    holes: Soundholes, eyes: tuple[Eye, Eye], straight_deg: float, outline: Outline, room: float
) -> tuple[float, Floats]:
    """The slot's middle line (k, 2), drawn inward until the slot has `room` mm to the edge, and
    the room that it has."""
    best, run = -np.inf, np.zeros((0, 2))
    for inward in np.arange(0.0, 0.5 * abs(eyes[1].y_mm - eyes[0].y_mm) + 0.5, 0.5):
        tried = slot_run(holes, eyes, float(inward), straight_deg)
        clear = float(outline.edge_distance(tried).min()) - 0.5 * holes.width_mm
        if clear > best + 1e-6:
            best, run = clear, tried
        if best >= room:
            break
    return best, run


def _least_room(body: Body) -> float:
    """What ribs and a strip of gluing surface need between an opening and the edge, mm."""
    return body.overhang_mm + body.rib_thickness_mm + GLUED_MM


def _check_place(rings: tuple[Floats, ...], body: Body, outline: Outline) -> None:
    least = _least_room(body)
    findings: list[Finding] = []
    for ring in rings:
        room = outline.edge_distance(ring)
        worst = int(np.argmin(room))
        if room[worst] < least:
            x, y = ring[worst]
            sentence = (
                f"a soundhole is {max(0.0, room[worst]):.1f} mm from the edge at x = {x:.0f}"
                f", y = {y:.0f}, where ribs and gluing surface need {least:.1f}; move, shorten or "
                "leave it out"
            )
            findings += refuse("soundhole-edge", WHERE, sentence).findings
    for i, a in enumerate(rings):
        for b in rings[i + 1 :]:
            if clearance(a, b) < 4.0:
                sentence = (
                    "the two soundholes meet or leave less than 4 mm; set upper_eye_gap wider, or "
                    "leave them out with present = false"
                )
                findings += refuse("soundhole-overlap", WHERE, sentence).findings
    if findings:
        raise Refused(findings)
