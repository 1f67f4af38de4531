"""Labels set beside their places so that none lies on a mark or on another label.

Each label tries eight places close by, then wider rings with a leader line; the crowded ones choose
first, then every label may choose again (three rounds).
"""

from dataclasses import dataclass
from math import cos, hypot, pi, sin

import numpy as np
from shapely import LineString, STRtree
from shapely import box as shapely_box
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.prints import lettering
from graduale.prints.sheet import BLACK, Box, Item, Text, line

GAP_MM = 0.7
RINGS_MM = (0.0, 3.0, 6.0, 10.0, 15.0)
CLOSE, WIDE = 8, 16


@dataclass(frozen=True)
class Words:
    """One line of a label."""

    words: str
    size_pt: float
    bold: bool = False


@dataclass(frozen=True)
class Label:
    """A label of some lines at (u, v), whose mark has the radius `clear_mm`."""

    u: float
    v: float
    lines: tuple[Words, ...]
    clear_mm: float = 1.0
    tag: str = "label"

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the text (mm)."""
        width = max(lettering.width_mm(w.words, w.size_pt, w.bold) for w in self.lines)
        return width, sum(_line_height(w) for w in self.lines)


@dataclass(frozen=True)
class Placed:
    """Where a label came to stand; `spoilt_mm2` is what it covers of marks and other labels."""

    label: Label
    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]] | None
    spoilt_mm2: float

    def items(self, backed: bool = False) -> tuple[Item, ...]:
        """Text and leader."""
        u0, _, u1, v1 = self.box
        items: list[Item] = []
        if self.leader is not None:
            items.append(line(self.leader, 0.13, stroke=BLACK))
        top = v1
        for w in self.label.lines:
            top -= _line_height(w)
            at, anchor = _aligned(self.label.u, u0, u1)
            base = top + lettering.DESCENT * w.size_pt
            tag = self.label.tag
            items.append(
                Text(at, base, w.words, w.size_pt, w.bold, anchor, backed=backed, tag=tag)  # type: ignore[arg-type]
            )
        return tuple(items)


def _line_height(w: Words) -> float:
    return (lettering.ASCENT + lettering.DESCENT) * w.size_pt


def _aligned(at_u: float, u0: float, u1: float) -> tuple[float, str]:
    if u0 >= at_u:
        return u0, "start"
    if u1 <= at_u:
        return u1, "end"
    return (u0 + u1) / 2, "middle"


class Placer:
    """Places labels among `marks` (boxes never covered) and `lines` (better not crossed)."""

    def __init__(self, bounds: Box, marks: list[Box], lines: list[BaseGeometry]) -> None:
        self.bounds = bounds
        self.marks = np.array(marks, dtype=np.float64).reshape(-1, 4)
        self.lines = [g for g in lines if not g.is_empty]
        self.tree = STRtree(self.lines)

    def place(self, labels: list[Label]) -> list[Placed]:
        """All labels, in the order given."""
        spots = np.array([(a.u, a.v) for a in labels]).reshape(-1, 2)
        crowd = [-int(np.sum(np.hypot(*(spots - p).T) < 15.0)) for p in spots]
        order = sorted(range(len(labels)), key=lambda k: (crowd[k], k))
        found: dict[int, Placed] = {}
        for _ in range(3):
            for k in order:
                others = [p for n, p in found.items() if n != k]
                found[k] = self._best(labels[k], others)
        return [found[k] for k in range(len(labels))]

    def _best(self, label: Label, others: list[Placed]) -> Placed:
        taken = np.vstack([self.marks, np.array([p.box for p in others]).reshape(-1, 4)])
        leaders = [LineString(p.leader) for p in others if p.leader is not None]
        best: tuple[float, Placed] | None = None
        for rank, (box, leader) in enumerate(_candidates(label)):
            spoilt = float(_areas(taken, box, 0.25).sum()) + self._outside(box)
            cost = 50.0 * spoilt + 0.02 * rank
            if leader is not None:
                cost += 1.5 + 0.25 * hypot(leader[1][0] - leader[0][0], leader[1][1] - leader[0][1])
            if best is not None and cost >= best[0]:
                continue
            cost += self._crossed(box) + self._led_over(leader, taken, leaders, box)
            if best is None or cost < best[0]:
                best = cost, Placed(label, box, leader, spoilt)
        if best is None:
            raise ValueError("a label without places")
        return best[1]

    def _outside(self, box: Box) -> float:
        u0, v0, u1, v1 = self.bounds
        over = max(u0 - box[0], 0) + max(v0 - box[1], 0) + max(box[2] - u1, 0) + max(box[3] - v1, 0)
        return 10.0 * over

    def _crossed(self, box: Box) -> float:
        pane = shapely_box(*box)
        return sum(
            0.6 * self.lines[k].intersection(pane).length
            for k in self.tree.query(pane, "intersects")
        )

    def _led_over(
        self,
        leader: tuple[tuple[float, float], tuple[float, float]] | None,
        taken: Floats,
        leaders: list[LineString],
        box: Box,
    ) -> float:
        pane = shapely_box(*box)
        cost = sum(3.0 for other in leaders if other.intersects(pane))
        if leader is None:
            return cost
        path = LineString(leader)
        u0, v0, u1, v1 = path.bounds
        near = _areas(taken, (u0 - 0.1, v0 - 0.1, u1 + 0.1, v1 + 0.1), 0.0) > 0
        for b in taken[near]:
            cost += 4.0 * path.intersection(shapely_box(*b)).length
        return cost + sum(5.0 for other in leaders if other.intersects(path))


def _areas(boxes: Floats, box: Box, pad: float) -> Floats:
    width = np.minimum(boxes[:, 2], box[2] + pad) - np.maximum(boxes[:, 0], box[0] - pad)
    height = np.minimum(boxes[:, 3], box[3] + pad) - np.maximum(boxes[:, 1], box[1] - pad)
    areas: Floats = np.maximum(width, 0.0) * np.maximum(height, 0.0)
    return areas


def _candidates(
    label: Label,
) -> list[tuple[Box, tuple[tuple[float, float], tuple[float, float]] | None]]:
    """Boxes around the mark; the leader of the wider rings runs from the mark to the box."""
    width, height = label.size
    found = []
    for far in RINGS_MM:
        steps = CLOSE if far == 0.0 else WIDE
        for k in range(steps):
            turn = 2 * pi * k / steps
            c, s = cos(turn), sin(turn)
            reach = label.clear_mm + GAP_MM + far
            mid_u = label.u + reach * c + width / 2 * _side(c)
            mid_v = label.v + reach * s + height / 2 * _side(s)
            box = (mid_u - width / 2, mid_v - height / 2, mid_u + width / 2, mid_v + height / 2)
            found.append((box, _leader(label, box) if far > 0 else None))
    return found


def _side(value: float) -> float:
    return 0.0 if abs(value) < 0.2 else (1.0 if value > 0 else -1.0)


def _leader(label: Label, box: Box) -> tuple[tuple[float, float], tuple[float, float]]:
    end_u = min(max(label.u, box[0]), box[2])
    end_v = min(max(label.v, box[1]), box[3])
    long = hypot(end_u - label.u, end_v - label.v) or 1.0
    start_u = label.u + (end_u - label.u) * label.clear_mm / long
    start_v = label.v + (end_v - label.v) * label.clear_mm / long
    short = max(long - 0.4, label.clear_mm) / long
    tip = (label.u + (end_u - label.u) * short, label.v + (end_v - label.v) * short)
    return (start_u, start_v), tip
