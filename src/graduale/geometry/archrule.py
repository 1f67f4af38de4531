"""Rules for the outside of a plate where the maker gave none: long arch, cross arch, edge.

The cross arch is a curtate cycloid from channel to channel, eased half way to a cosine (the full
cycloid is steeper at the flank than the trade's 21 degrees at a violin's waist and 27 to 32 on a
narrow body); the long arch is a full curve that is flat in the middle; the channel runs round the
plate at a fixed distance from the edge and rises to it in a half cosine. All of it is common
practice, no source.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.interpolate import Akima1DInterpolator, PchipInterpolator

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.geometry.curves import drop_repeats
from graduale.geometry.outline import Outline
from graduale.records.instrument import ArchShape, CrossArch

END_REACH_SHARE = 0.06  # of the length: how far in the edge leads the arch round the ends
END_SHARE = 0.15  # of the length: how far from the ends it does
LONG_POWER = 5.0  # fullness of the long arch
EASED = 0.5  # 1: the curtate cycloid itself; 0: a cosine
CURTATE_MOST = 0.85  # more would make the flank overhang
OPENING_SHARE = 0.8  # of the half width left at the waist; rolls the corners off


def long_rule(x: Floats, x0: float, x1: float, low: float, crown: float) -> Floats:
    """Height along the middle (m,): `low` with level ends at x0 and x1, `crown` half way (mm)."""
    v = np.clip(np.abs(2.0 * (x - x0) / (x1 - x0) - 1.0), 0.0, 1.0)
    return low + (crown - low) * (1.0 - v**LONG_POWER) ** 2


def cycloid(u: Floats, rise: Floats, half_width: Floats, eased: float = EASED) -> Floats:
    """Share of the rise (m,) at u = |y| / half_width of the cross arch, 1 in the middle.

    Trochoid s = r a - d sin a, z = r - d cos a with 2 pi r the width and 2 d the rise, its d / r
    times `eased`; the angle a comes from Kepler's equation.
    """
    e = eased * 0.5 * np.pi * rise / np.maximum(half_width, 1e-9)
    e = np.clip(e, 0.0, CURTATE_MOST)
    mean = np.pi * np.clip(1.0 - u, 0.0, 1.0)
    a = mean + e * np.sin(mean)
    for _ in range(12):
        a = a - (a - e * np.sin(a) - mean) / (1.0 - e * np.cos(a))
    return np.asarray(0.5 * (1.0 - np.cos(a)))


def edge_rule(d: Floats, shape: ArchShape) -> Floats:
    """Height (m,) at distance d (m,) inside the edge, out to the channel's bottom (mm)."""
    share = np.clip(d / shape.channel_at_mm, 0.0, 1.0)
    return shape.channel_mm + (shape.edge_mm - shape.channel_mm) * 0.5 * (
        1.0 + np.cos(np.pi * share)
    )


@dataclass(frozen=True, eq=False)
class Frame:
    """What the rule needs of an outline: the field inside the channel, corners rolled off."""

    outline: Outline
    field: Outline

    @property
    def ends(self) -> tuple[float, float]:
        """x of the channel's bottom at the lower and upper end."""
        return float(self.field.xy[:, 0].min()), float(self.field.xy[:, 0].max())


def frame_of(shape: ArchShape, outline: Outline) -> Frame:
    """The frame for the rule. Errors: Refused when the channel leaves no field inside."""
    ring = shapely.Polygon(outline.inset(shape.channel_at_mm))
    x0, x1 = float(outline.xy[:, 0].min()), float(outline.xy[:, 0].max())
    x = np.linspace(x0, x1, 81)[15:-15]
    bass, treble = outline.half_widths(x)
    room = 0.5 * float((bass + treble).min()) - shape.channel_at_mm
    if room < 1.0:
        raise refuse(
            "arching-no-field",
            "arching",
            "the channel leaves no field inside it; set channel_at smaller or widen the body",
        )
    radius = OPENING_SHARE * room
    opened = ring.buffer(-radius).buffer(radius)
    parts = [p for p in getattr(opened, "geoms", [opened]) if not p.is_empty]
    largest = max(parts, key=lambda p: float(p.area)).segmentize(1.0)
    points = drop_repeats(np.asarray(largest.exterior.coords)[:, :2], closed=True)
    return Frame(outline, Outline(points))


def _ordered(points: tuple[tuple[float, float], ...]) -> Floats:
    rows = np.array(sorted(points), dtype=np.float64)
    keep = np.concatenate(([True], np.diff(rows[:, 0]) > 1e-6))
    return np.asarray(rows[keep])


def through(points: Floats, at: Floats) -> Floats:
    """A smooth curve through points (k, 2) without overshoot, at (m,); held at its ends."""
    if len(points) < 3:
        return np.interp(at, points[:, 0], points[:, 1])
    curve = Akima1DInterpolator(points[:, 0], points[:, 1], method="makima")
    return np.asarray(curve(np.clip(at, points[0, 0], points[-1, 0])))


def long_points(shape: ArchShape, frame: Frame) -> Floats | None:
    """The given long arch with the channel added where it stops short of it (k, 2), or None."""
    if not shape.long_arch:
        return None
    given = _ordered(shape.long_arch)
    x0, x1 = frame.ends
    extra = []
    if given[0, 0] > x0 + 1.0:
        extra.append((x0, shape.channel_mm))
    if given[-1, 0] < x1 - 1.0:
        extra.append((x1, shape.channel_mm))
    return _ordered(tuple(map(tuple, np.vstack([given, *np.array(extra).reshape(-1, 1, 2)]))))


def cross_points(arch: CrossArch, shape: ArchShape, frame: Frame) -> Floats:
    """A given cross arch, mirrored when only one half was given, closed to the channels (k, 2)."""
    given = _ordered(arch.points)
    if given[0, 0] > -1.0 or given[-1, 0] < 1.0:
        other = given[np.abs(given[:, 0]) > 1e-6] * np.array([-1.0, 1.0])
        given = _ordered(tuple(map(tuple, np.vstack([given, other]))))
    bass, treble = frame.field.half_widths([arch.x_mm])
    extra = []
    if given[0, 0] > -treble[0] + 1.0:
        extra.append((-treble[0], shape.channel_mm))
    if given[-1, 0] < bass[0] - 1.0:
        extra.append((bass[0], shape.channel_mm))
    return _ordered(tuple(map(tuple, np.vstack([given, *np.array(extra).reshape(-1, 1, 2)]))))


@dataclass(frozen=True, eq=False)
class Rule:
    """Heights by rule inside the channel, led by what was given of long arch and cross arches."""

    shape: ArchShape
    frame: Frame

    def middle(self, x: Floats) -> Floats:
        """Height along the middle line at x (m,)."""
        given = long_points(self.shape, self.frame)
        if given is not None:
            return through(given, x)
        low, crown = self.shape.channel_mm, self.shape.crown_mm
        base = long_rule(x, *self.frame.ends, low, crown)
        if not self.shape.cross_arches:
            return base
        stations, tops = self._tops()
        own = long_rule(stations, *self.frame.ends, low, crown) - low
        ratio = (tops - low) / np.maximum(own, 0.2)
        if len(stations) == 1:
            return np.asarray(low + (base - low) * ratio[0])
        at = np.clip(x, stations[0], stations[-1])
        return np.asarray(low + (base - low) * PchipInterpolator(stations, ratio)(at))

    def _tops(self) -> tuple[Floats, Floats]:
        arches = sorted(self.shape.cross_arches, key=lambda a: a.x_mm)
        tops = [through(cross_points(a, self.shape, self.frame), np.zeros(1))[0] for a in arches]
        return np.array([a.x_mm for a in arches]), np.array(tops)

    def heights(self, xy: Floats) -> tuple[Floats, Floats]:
        """Height (m,) and trust in it 0..1 (m,) at points (m, 2) inside the channel."""
        x, y = xy[:, 0], xy[:, 1]
        ends = self.frame.ends
        line = np.linspace(ends[0], ends[1], 401)
        bass, treble = self.frame.field.half_widths(line)
        run = line[1] - line[0]
        flare = np.maximum(np.abs(np.gradient(bass, run)), np.abs(np.gradient(treble, run)))
        width = np.where(y >= 0.0, np.interp(x, line, bass), np.interp(x, line, treble))
        rise = np.interp(x, line, self.middle(line)) - self.shape.channel_mm
        u = np.abs(y) / np.maximum(width, 1e-6)
        share = self._profile(x, np.sign(y) * u, cycloid(u, rise, width))
        trust = 1.0 / (1.0 + (np.interp(x, line, flare) / 0.4) ** 4)
        return self.shape.channel_mm + rise * share, np.where(u <= 1.0, trust, 0.0)

    def beside_edge(self, xy: Floats, inward: Floats) -> tuple[Floats, Floats]:
        """Height (m,) and trust 0..1 (m,) at points (m, 2) by their distance inside the channel.

        Round the ends the arch rises from the channel as the long arch does, square to the edge.
        """
        x0, x1 = self.frame.ends
        lower = xy[:, 0] < 0.5 * (x0 + x1)
        line = np.where(lower, x0 + inward, x1 - inward)
        line = np.where(lower, np.minimum(line, 0.5 * (x0 + x1)), np.maximum(line, 0.5 * (x0 + x1)))
        length = x1 - x0
        along = np.where(lower, xy[:, 0] - x0, x1 - xy[:, 0])
        trust = np.exp(-((inward / (END_REACH_SHARE * length)) ** 2))
        trust *= np.exp(-((along / (END_SHARE * length)) ** 4))
        return self.middle(line), trust

    def _profile(self, x: Floats, u: Floats, cycloid_share: Floats) -> Floats:
        """Share of the rise (m,): the cycloid, or the given cross arches blended along x."""
        arches = sorted(self.shape.cross_arches, key=lambda a: a.x_mm)
        if not arches:
            return cycloid_share
        rows = []
        for arch in arches:
            points = cross_points(arch, self.shape, self.frame)
            bass, treble = self.frame.field.half_widths([arch.x_mm])
            at = np.where(u >= 0.0, u * bass[0], u * treble[0])
            top = through(points, np.zeros(1))[0] - self.shape.channel_mm
            rows.append((through(points, at) - self.shape.channel_mm) / max(top, 0.2))
        stations = np.array([a.x_mm for a in arches])
        place = np.clip(np.interp(x, stations, np.arange(len(arches))), 0, len(arches) - 1)
        index = np.minimum(place.astype(int), max(0, len(arches) - 2))
        share = place - index
        share = share * share * (3.0 - 2.0 * share)
        table = np.array(rows)
        pick = np.arange(len(x))
        nxt = np.minimum(index + 1, len(arches) - 1)
        return np.asarray(table[index, pick] * (1.0 - share) + table[nxt, pick] * share)
