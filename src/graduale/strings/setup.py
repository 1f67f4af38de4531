"""String forces on the body as vectors, in equilibrium in force and moment.

Body frame: x from the lower edge to the neck, y to the bass side, z to the front; the back's gluing
plane is z = 0, the top's gluing plane rises with the ribs. Forces N, moments N mm, lengths mm.
"""

import math
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import Finding, refuse
from graduale.records.instrument import Body, Bridge, Neck, Strings
from graduale.strings.feet import (
    Wrench,
    foot_findings,
    foot_share,
    foot_wrenches,
    sum_at,
    tail_ratio,
)
from graduale.strings.tension import limit_findings, tension_n

SADDLE_SPREAD = 0.5  # of spread and crown at the bridge: strings close in to the tail [no source]


@dataclass(frozen=True, eq=False)
class StringLine:
    """One string: points on nut, bridge and saddle, and what it does to the bridge."""

    note: str
    tension_n: float
    nut: Floats
    bridge: Floats
    saddle: Floats
    bridge_force: Floats  # (3,) on the bridge, both sides together
    shares: tuple[float, float]  # of its downward press: bass foot, treble foot


@dataclass(frozen=True, eq=False)
class StringForces:
    """What strings and bridge together do to the body; nut + saddle + both feet sum to zero."""

    lines: tuple[StringLine, ...]  # bass first
    nut: Wrench
    saddle: Wrench
    bass_foot: Wrench
    treble_foot: Wrench
    shares: tuple[float, float]  # of the press: bass, treble; outside 0..1 a foot lifts
    lifts: bool
    break_angle_deg: float  # between both sides of the middle line, 180 is straight
    tail_ratio: float  # tension behind the bridge over tension before it
    tension_total_n: float
    press_total_n: float  # downward on the top
    findings: tuple[Finding, ...]

    @property
    def feet(self) -> dict[str, Wrench]:
        """Both feet by side."""
        return {"bass": self.bass_foot, "treble": self.treble_foot}

    @property
    def wrenches(self) -> tuple[Wrench, Wrench, Wrench, Wrench]:
        """All actions on the body."""
        return (self.nut, self.saddle, self.bass_foot, self.treble_foot)


def top_plane_z(body: Body, x_mm: float) -> float:
    """z of the top's gluing plane at x: the ribs run straight from lower to upper height."""
    slope = (body.rib_height_upper_mm - body.rib_height_lower_mm) / body.length_mm
    return body.rib_height_lower_mm + slope * x_mm


def setup_of(
    strings: Strings,
    bridge: Bridge,
    neck: Neck,
    body: Body,
    crown_height_mm: float,
    foot_heights_mm: tuple[float, float] | None = None,
) -> StringForces:
    """Forces of the set-up. `crown_height_mm`: outside of the top at the bridge, middle line, above
    its gluing plane; `foot_heights_mm`: the same under the bass and treble foot (None: the crown).

    The string length is measured straight from nut to bridge on the middle line. A break angle that
    is given moves the saddle point up or down at x = 0; the saddle height is then not used.
    Refused: no strings, impossible geometry or numbers.
    """
    middle = _middle_line(strings, bridge, neck, body, crown_height_mm)
    points = _bearings(strings, bridge, neck, middle)
    heights = foot_heights_mm or (crown_height_mm, crown_height_mm)
    plane = top_plane_z(body, bridge.x_mm)
    feet = np.array(
        [
            [bridge.x_mm, bridge.bass_foot_y_mm, plane + heights[0]],
            [bridge.x_mm, bridge.treble_foot_y_mm, plane + heights[1]],
        ]
    )
    pulls = _pulls(strings)
    nut, tail = (_pull(pulls, points[1], end) for end in (points[0], points[2]))
    ratio = tail_ratio(nut, tail, feet, bridge.foot_width_mm)
    lines = _lines(strings, bridge, points, pulls, ratio)
    bass, treble = foot_wrenches(sum_at([(k.bridge_force, k.bridge) for k in lines]), feet)
    press = -float(bass.force[2] + treble.force[2])
    shares = (-float(bass.force[2]) / press, -float(treble.force[2]) / press)
    angle = _angle_deg(*middle)
    friction = abs(math.log(ratio)) / math.radians(180.0 - angle)
    return StringForces(
        lines=lines,
        nut=_pull(pulls, points[0], points[1]),
        saddle=_pull(ratio * pulls, points[2], points[1]),
        bass_foot=bass,
        treble_foot=treble,
        shares=shares,
        lifts=min(shares) < 0.0,
        break_angle_deg=angle,
        tail_ratio=ratio,
        tension_total_n=sum(line.tension_n for line in lines),
        press_total_n=press,
        findings=(*limit_findings(strings), *foot_findings(shares, friction)),
    )


def _middle_line(
    strings: Strings, bridge: Bridge, neck: Neck, body: Body, crown_mm: float
) -> tuple[Floats, Floats, Floats]:
    """Nut, bridge top and saddle on the middle line."""
    top = np.array([bridge.x_mm, 0.0, top_plane_z(body, bridge.x_mm) + crown_mm + bridge.height_mm])
    nut = _nut_point(strings.length_mm, top, neck, body)
    saddle = np.array([0.0, 0.0, top_plane_z(body, 0.0) + neck.saddle_height_mm])
    if not bridge.x_mm > 0.0:
        raise refuse("bridge-place", "bridge.x", "the bridge must stand above the lower edge.")
    if bridge.break_angle_deg is not None:
        rise = math.atan2(nut[2] - top[2], nut[0] - top[0])
        turn = rise - math.radians(bridge.break_angle_deg)
        if not (math.cos(turn) < -0.5 and bridge.break_angle_deg < 180.0):
            raise refuse(
                "break-angle",
                "bridge.break_angle",
                f"{bridge.break_angle_deg:g} degrees is no break angle; a usual one lies between "
                "145 and 175 (180 is a straight string).",
            )
        saddle[2] = top[2] - bridge.x_mm * math.tan(turn)
    return nut, top, saddle


def _nut_point(length_mm: float, top: Floats, neck: Neck, body: Body) -> Floats:
    """The nut: `length_mm` from the bridge top, `nut_height_mm` above the top's gluing plane."""
    slope = (body.rib_height_upper_mm - body.rib_height_lower_mm) / body.length_mm
    gap = top_plane_z(body, float(top[0])) + neck.nut_height_mm - float(top[2])
    # (length along x: d) d^2 + (gap + slope d)^2 = length^2
    a, b, c = 1.0 + slope * slope, 2.0 * slope * gap, gap * gap - length_mm * length_mm
    if not (math.isfinite(c) and b * b - 4.0 * a * c > 0.0 and c < 0.0):
        raise refuse(
            "string-length",
            "strings.length",
            f"a string length of {length_mm:g} mm does not reach from the bridge to the nut; check "
            "it, the bridge height and the nut height.",
        )
    d = (-b + math.sqrt(b * b - 4.0 * a * c)) / (2.0 * a)
    return np.array([top[0] + d, 0.0, top[2] + gap + slope * d])


def _bearings(
    strings: Strings, bridge: Bridge, neck: Neck, middle: tuple[Floats, Floats, Floats]
) -> tuple[Floats, Floats, Floats]:
    """Points (n, 3) on nut, bridge and saddle, bass first."""
    count = len(strings.strings)
    if count == 0:
        raise refuse("no-strings", "strings", "there is no string; give at least one.")
    place = np.linspace(0.5, -0.5, count) if count > 1 else np.zeros(1)
    y = place * bridge.string_spread_mm
    if np.max(np.abs(y)) >= bridge.crown_radius_mm:
        raise refuse(
            "bridge-crown",
            "bridge.crown_radius",
            "the crown radius must be larger than half the string spread.",
        )
    nut, top, saddle = (np.repeat(point[None], count, axis=0) for point in middle)
    nut[:, 1], top[:, 1] = place * neck.nut_spread_mm, y
    saddle[:, 1] = SADDLE_SPREAD * y
    drop = bridge.crown_radius_mm - np.sqrt(bridge.crown_radius_mm**2 - y**2)
    top[:, 2] -= drop
    saddle[:, 2] -= SADDLE_SPREAD * drop
    return nut, top, saddle


def _pulls(strings: Strings) -> Floats:
    """Tension (n,) N of every string."""
    return np.array(
        [
            tension_n(string, strings.length_mm, f"strings.string[{number}] ({string.note})")
            for number, string in enumerate(strings.strings, start=1)
        ]
    )


def _pull(pulls: Floats, at: Floats, toward: Floats) -> Wrench:
    """Strings pulling with `pulls` (n,) at points `at` (n, 3) toward other points, summed."""
    directions = _toward(at, toward)
    return sum_at(list(zip(pulls[:, None] * directions, at, strict=True)))


def _lines(
    strings: Strings,
    bridge: Bridge,
    points: tuple[Floats, Floats, Floats],
    pulls: Floats,
    ratio: float,
) -> tuple[StringLine, ...]:
    out = []
    nut, top, saddle = points
    force = pulls[:, None] * (_toward(top, nut) + ratio * _toward(top, saddle))
    for i, string in enumerate(strings.strings):
        bass = foot_share(float(top[i, 1]), bridge.bass_foot_y_mm, bridge.treble_foot_y_mm)
        ends = (freeze(nut[i]), freeze(top[i]), freeze(saddle[i]))
        share = (bass, 1.0 - bass)
        out.append(StringLine(string.note, float(pulls[i]), *ends, freeze(force[i]), share))
    return tuple(out)


def _toward(start: Floats, end: Floats) -> Floats:
    step = end - start
    return np.asarray(step / np.linalg.norm(step, axis=-1, keepdims=True))


def _angle_deg(nut: Floats, top: Floats, saddle: Floats) -> float:
    cos = float(_toward(top, nut) @ _toward(top, saddle))
    return math.degrees(math.acos(max(-1.0, min(1.0, cos))))
