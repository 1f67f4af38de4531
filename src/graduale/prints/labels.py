"""Labels set beside their places so that none lies on a mark or on another label.

Each label tries sixteen places close by, then wider rings with a leader line; the crowded ones
choose first, then every label may choose again (three rounds).
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

GAP_MM = 0.35
RINGS_MM = (0.0, 3.0, 6.0, 10.0, 15.0, 21.0)
PLACES = 16
NEAR_MM, FAR_MM = 0.9, 2.2  # a label so near to a strange mark may be read as its own
CLEAR_MM = 0.25  # kept free round every label
ROUNDS = 3
PIECE = 4  # lines are looked up in pieces of so many steps


Leader = tuple[tuple[float, float], tuple[float, float]]


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
    prefer_deg: float = 0.0  # the direction tried first, from the right counter-clockwise

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the text (mm)."""
        width = max(lettering.width_mm(w.words, w.size_pt, w.bold) for w in self.lines)
        return width, sum(_line_height(w) for w in self.lines)


@dataclass(frozen=True)
class Placed:
    """Where a label came to stand; `spoilt_mm2` is what it covers of marks and other labels,

    `doubt` grows where it stands so near to another mark that it might be read as that one's.
    """

    label: Label
    box: Box
    leader: Leader | None
    spoilt_mm2: float
    doubt: float = 0.0

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


def _pieces(geometry: BaseGeometry) -> list[LineString]:
    """A long line in short pieces, so that only those near a box are looked at."""
    points = list(geometry.coords)
    cuts = range(0, len(points) - 1, PIECE)
    return [LineString(points[k : k + PIECE + 1]) for k in cuts]


def _line_height(w: Words) -> float:
    return (lettering.ASCENT + lettering.DESCENT) * w.size_pt


def _aligned(at_u: float, u0: float, u1: float) -> tuple[float, str]:
    if u0 >= at_u:
        return u0, "start"
    if u1 <= at_u:
        return u1, "end"
    return (u0 + u1) / 2, "middle"


@dataclass(frozen=True, eq=False)
class _Choices:
    """The places of one label: boxes (k, 4), and per place what it spoils, its doubt, its cost."""

    label: Label
    places: list[tuple[Box, Leader | None]]
    boxes: Floats
    spoilt: Floats
    doubt: Floats
    cost: Floats


class Placer:
    """Places labels among `marks` (boxes never covered) and `lines` (better not crossed)."""

    def __init__(self, bounds: Box, marks: list[Box], lines: list[BaseGeometry]) -> None:
        self.bounds = bounds
        self.marks = np.array(marks, dtype=np.float64).reshape(-1, 4)
        self.lines = [piece for g in lines for piece in _pieces(g)]
        self.tree = STRtree(self.lines)

    def place(self, labels: list[Label]) -> list[Placed]:
        """All labels, in the order given."""
        spots = np.array([(a.u, a.v) for a in labels]).reshape(-1, 2)
        crowd = [-int(np.sum(np.hypot(*(spots - p).T) < 15.0)) for p in spots]
        order = sorted(range(len(labels)), key=lambda k: (crowd[k], k))
        choices = [self._choices(a) for a in labels]
        found: dict[int, Placed] = {}
        for _ in range(ROUNDS):
            before = dict(found)
            for k in order:
                others = [p for n, p in found.items() if n != k]
                found[k] = self._best(choices[k], others)
            if found == before:
                break
        return [found[k] for k in range(len(labels))]

    def troubled(self, labels: list[Label]) -> int:
        """How many labels would not be free and beyond doubt in their preferred place."""
        first = np.array([_candidates(a)[0][0] for a in labels]).reshape(-1, 4)
        spoilt = shared(first, self.marks, CLEAR_MM).sum(axis=1) + self._outside(first)
        others = shared(first, first, CLEAR_MM / 2)
        np.fill_diagonal(others, 0.0)
        doubt = [float(self._doubt(a, first[k : k + 1], NEAR_MM)[0]) for k, a in enumerate(labels)]
        return int(np.sum((spoilt + others.sum(axis=1) + np.array(doubt)) > 0.02))

    def _choices(self, label: Label) -> "_Choices":
        """All places of a label with what does not depend on the other labels."""
        places = _candidates(label)
        boxes = np.array([box for box, _ in places])
        spoilt = shared(boxes, self.marks, CLEAR_MM).sum(axis=1) + self._outside(boxes)
        doubt = self._doubt(label, boxes, NEAR_MM)
        led = np.array([end is not None for _, end in places])
        doubt = np.where(led, np.maximum(doubt, self._doubt(label, boxes, FAR_MM)), doubt)
        lead = [0.0 if end is None else 1.5 + 0.25 * dist(*end) for _, end in places]
        cost = doubt + 0.06 * np.arange(len(boxes)) + np.array(lead)
        return _Choices(label, places, boxes, spoilt, doubt, cost)

    def _best(self, mine: "_Choices", others: list[Placed]) -> Placed:
        theirs = np.array([p.box for p in others]).reshape(-1, 4)
        leaders = [LineString(p.leader) for p in others if p.leader is not None]
        spoilt = mine.spoilt + shared(mine.boxes, theirs, CLEAR_MM).sum(axis=1)
        cost = mine.cost + 50.0 * spoilt
        taken = np.vstack([self.marks, theirs])
        best: tuple[float, int] | None = None
        for k in np.argsort(cost, kind="stable"):
            if best is not None and cost[k] >= best[0]:
                break
            box, leader = mine.places[k]
            full = cost[k] + self._crossed(box) + self._led_over(leader, taken, leaders, box)
            if best is None or full < best[0]:
                best = float(full), int(k)
        if best is None:
            raise ValueError("a label without places")
        k = best[1]
        return Placed(mine.label, *mine.places[k], float(spoilt[k]), float(mine.doubt[k]))

    def _doubt(self, label: Label, boxes: Floats, near_mm: float) -> Floats:
        """How much each box, grown by `near_mm`, lies on marks of others -> (k,)."""
        mark = self.marks
        own = (np.abs((mark[:, 0] + mark[:, 2]) / 2 - label.u) < 0.01) & (
            np.abs((mark[:, 1] + mark[:, 3]) / 2 - label.v) < 0.01
        )
        found: Floats = 3.0 * shared(boxes, mark[~own], near_mm).sum(axis=1)
        return found

    def _outside(self, boxes: Floats) -> Floats:
        low, high = np.array(self.bounds[:2]), np.array(self.bounds[2:])
        over = np.maximum(low - boxes[:, :2], 0.0) + np.maximum(boxes[:, 2:] - high, 0.0)
        found: Floats = 10.0 * over.sum(axis=1)
        return found

    def _crossed(self, box: Box) -> float:
        pane = shapely_box(*box)
        near = self.tree.query(pane, "intersects")
        return float(sum(0.8 * self.lines[k].intersection(pane).length for k in near))

    def _led_over(
        self,
        leader: Leader | None,
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
        near = areas(taken, (u0 - 0.1, v0 - 0.1, u1 + 0.1, v1 + 0.1), 0.0) > 0
        for b in taken[near]:
            cost += 4.0 * path.intersection(shapely_box(*b)).length
        return cost + sum(5.0 for other in leaders if other.intersects(path))


def shared(boxes: Floats, others: Floats, pad: float) -> Floats:
    """Area that each of boxes (k, 4), grown by `pad`, has in common with each of others (m, 4)."""
    sides = []
    for low, high in ((0, 2), (1, 3)):
        top = np.minimum(boxes[:, None, high] + pad, others[None, :, high])
        side = top - np.maximum(boxes[:, None, low] - pad, others[None, :, low])
        sides.append(np.maximum(side, 0.0))
    found: Floats = sides[0] * sides[1]
    return found


def areas(others: Floats, box: Box, pad: float) -> Floats:
    """Area that each of others (m, 4) has in common with one box grown by `pad` -> (m,)."""
    found: Floats = shared(np.array([box]), others, pad)[0]
    return found


def dist(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Distance of two points."""
    return hypot(b[0] - a[0], b[1] - a[1])


def _candidates(
    label: Label,
) -> list[tuple[Box, Leader | None]]:
    """Boxes around the mark; the leader of the wider rings runs from the mark to the box."""
    width, height = label.size
    found = []
    for far in RINGS_MM:
        for k in range(PLACES):
            step = (k + 1) // 2 * (1 if k % 2 else -1)
            turn = label.prefer_deg * pi / 180 + 2 * pi * step / PLACES
            c, s = cos(turn), sin(turn)
            reach = label.clear_mm + GAP_MM + far
            mid_u = label.u + reach * c + width / 2 * _side(c)
            mid_v = label.v + reach * s + height / 2 * _side(s)
            box = (mid_u - width / 2, mid_v - height / 2, mid_u + width / 2, mid_v + height / 2)
            found.append((box, _leader(label, box) if far > 0 else None))
    return found


def _side(value: float) -> float:
    return 0.0 if abs(value) < 0.2 else (1.0 if value > 0 else -1.0)


def _leader(label: Label, box: Box) -> Leader:
    end_u = min(max(label.u, box[0]), box[2])
    end_v = min(max(label.v, box[1]), box[3])
    long = hypot(end_u - label.u, end_v - label.v) or 1.0
    start_u = label.u + (end_u - label.u) * label.clear_mm / long
    start_v = label.v + (end_v - label.v) * label.clear_mm / long
    short = max(long - 0.4, label.clear_mm) / long
    tip = (label.u + (end_u - label.u) * short, label.v + (end_v - label.v) * short)
    return (start_u, start_v), tip
