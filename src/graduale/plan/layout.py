"""Marks for guide holes in rows across the plate, clear of all zones; what stays blank and why."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats, freeze
from graduale.geometry.outline import Outline
from graduale.plan.tools import layout_rule
from graduale.plan.zones import JOINT, RIM, Zone
from graduale.records.instrument import Drill

Span = tuple[float, float]
Worth = Callable[[Floats], NDArray[np.bool_]]  # xy (m, 2): is there wood to drill?
TINY_MM = 0.05
LOOK_MM = 0.25
NOTHING = "nothing to drill: the wood here is hardly thicker than what is to be left"


class Blank(NamedTuple):
    """A place where a hole would be wanted and is not, with the reason in words."""

    x_mm: float
    y_mm: float
    reason: str


@dataclass(frozen=True, eq=False)
class Marks:
    """Marks xy (n, 2) in rows from the lower edge to the neck; places left blank; rows of a half
    with fewer holes than wanted (x, side, count)."""

    xy: Floats
    blank: tuple[Blank, ...]
    sparse: tuple[tuple[float, str, int], ...]


def lay_out(outline: Outline, zones: Sequence[Zone], drill: Drill, worth: Worth) -> Marks:
    """Rows at most `spacing_along_mm` apart; in each half of a row marks at most
    `spacing_across_mm` apart and at least three where the bit leaves room for them; only where it
    is `worth` drilling."""
    field = Field(outline, zones, drill.bit_mm)
    xy: list[tuple[float, float]] = []
    blank: list[Blank] = []
    sparse: list[tuple[float, str, int]] = []
    for x in field.rows(drill.spacing_along_mm):
        for side in ("treble", "bass"):
            spans = worthwhile(x, field.free(x, side), worth)
            ys = across(spans, drill.spacing_across_mm, drill.bit_mm)
            xy += [(x, y) for y in ys if (x, y) not in xy]
            blank += field.blocked(x, side, spans)
            if 0 < len(ys) < layout_rule().least_across_each_half:
                sparse.append((x, side, len(ys)))
    marks = freeze(np.array(xy, dtype=np.float64).reshape(-1, 2), (None, 2))
    return Marks(marks, tuple(blank), tuple(sparse))


class Field:
    """The part of a plate where the axis of a bit may be."""

    def __init__(self, outline: Outline, zones: Sequence[Zone], bit_mm: float) -> None:
        self.zones = tuple(zones)
        self.shapes = tuple(z.shape for z in zones)
        self.bit_mm = bit_mm
        self.body = outline.polygon
        kept = shapely.union_all([s.buffer(bit_mm) for s in self.shapes])
        self.allowed: BaseGeometry = self.body.difference(kept) if self.shapes else self.body
        rim = [s for z, s in zip(zones, self.shapes, strict=True) if z.name in (*RIM, JOINT)]
        self.open: BaseGeometry = self.body.difference(shapely.union_all(rim)) if rim else self.body

    def rows(self, spacing_mm: float) -> list[float]:
        """x of the rows, evenly over the field."""
        if self.allowed.is_empty:
            return []
        x0, _, x1, _ = self.allowed.bounds
        x0, x1 = x0 + TINY_MM, x1 - TINY_MM
        count = max(1, math.ceil((x1 - x0) / spacing_mm))
        return [round(x0 + (x1 - x0) * i / count, 2) for i in range(count + 1)]

    def free(self, x: float, side: str) -> list[Span]:
        """Where the axis may be in one half of the row at x, from the middle outward."""
        return _spans(self.allowed, x, side)

    def blocked(self, x: float, side: str, free: list[Span]) -> list[Blank]:
        """Stretches of the open field without room for a hole and wider than one and a half
        bits."""
        out = []
        for low, high in _spans(self.open, x, side):
            inside = sorted(s for s in free if s[0] < high and s[1] > low)
            ends = [low, *(e for s in inside for e in s), high]
            for a, b in zip(ends[::2], ends[1::2], strict=True):
                if b - a > 1.5 * self.bit_mm:
                    y = (a + b) / 2
                    out.append(Blank(x, round(y, 2), self.reason(x, y)))
        return out

    def reason(self, x: float, y: float) -> str:
        """Which zone keeps the place free of holes, or that there is nothing to drill."""
        point = Point(x, y)
        gaps = [s.distance(point) for s in self.shapes]
        if not gaps or min(gaps) >= self.bit_mm:
            return NOTHING
        name = self.zones[gaps.index(min(gaps))].name
        return name if min(gaps) == 0.0 else f"within a bit's diameter of the {name}"

    def under(self, x: float, y: float, clear_mm: float) -> str:
        """The zone that comes nearer than `clear_mm` to the bottom of a slanting hole; '' if
        none."""
        point = Point(x, y)
        for zone, shape in zip(self.zones, self.shapes, strict=True):
            if shape.distance(point) < clear_mm:
                return zone.name
        return ""


def worthwhile(x: float, spans: Sequence[Span], worth: Worth) -> list[Span]:
    """The parts of the spans of one row in which it is worth drilling, to a quarter millimetre."""
    out: list[Span] = []
    for a, b in spans:
        y = np.linspace(a, b, max(2, math.ceil((b - a) / LOOK_MM) + 1))
        good = worth(np.column_stack([np.full(len(y), x), y]))
        edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
        out += [
            (float(y[i]), float(y[j - 1])) for i, j in zip(edges[::2], edges[1::2], strict=True)
        ]
    return out


def across(spans: Sequence[Span], spacing_mm: float, bit_mm: float) -> list[float]:
    """Places y in the free spans of one half row: evenly, ends included."""
    rule = layout_rule()
    pitch = rule.least_pitch_bits * bit_mm
    counts = [_count(b - a, spacing_mm, pitch) for a, b in spans]
    while sum(counts) < rule.least_across_each_half:
        room = [(b - a) / n for (a, b), n in zip(spans, counts, strict=True)]
        if not room or max(room) < pitch:
            break
        counts[room.index(max(room))] += 1
    out = []
    for (a, b), n in zip(spans, counts, strict=True):
        steps = [0.5] if n == 1 else [i / (n - 1) for i in range(n)]
        out += [round(a + (b - a) * s, 2) for s in steps]
    return sorted(out)


def _count(width_mm: float, spacing_mm: float, pitch_mm: float) -> int:
    most = int(width_mm / pitch_mm + 1e-9) + 1
    return max(1, min(most, math.ceil(width_mm / spacing_mm - 1e-9) + 1))


def _spans(area: BaseGeometry, x: float, side: str) -> list[Span]:
    """Stretches of the line at x in one half of an area, shrunk by a hair, in order of y."""
    ends = (0.0, 1e4) if side == "bass" else (-1e4, 0.0)
    cut = area.intersection(LineString([(x, ends[0]), (x, ends[1])]))
    out = []
    for part in getattr(cut, "geoms", [cut]):
        if part.is_empty or part.length < 2.2 * TINY_MM:
            continue
        ys = sorted((part.bounds[1], part.bounds[3]))
        low = ys[0] if ys[0] == 0.0 else ys[0] + TINY_MM
        high = ys[1] if ys[1] == 0.0 else ys[1] - TINY_MM
        out.append((low, high))
    return sorted(out)
