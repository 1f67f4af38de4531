"""The display list: a drawing recorded once in mm and replayed by each writer.

Frame: u to the right, v upward, origin at the lower left of the drawing, all in mm; text in points.
Greys are 0 (black) to 1 (white); colours are '#rrggbb'.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from graduale.prints import lettering
from graduale.prints.data import PageHead

Point = tuple[float, float]
Ring = tuple[Point, ...]
Box = tuple[float, float, float, float]  # u0, v0, u1, v1
BLACK, DARK, GREY, PALE = "#000000", "#404040", "#808080", "#c8c8c8"
WHITE = "#ffffff"
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Path:
    """One or more rings or lines; a fill follows the even-odd rule over all of them."""

    rings: tuple[Ring, ...]
    stroke: str | None = BLACK
    width_mm: float = 0.25
    dash_mm: tuple[float, ...] = ()
    closed: bool = False
    fill: str | None = None
    tag: str = ""


@dataclass(frozen=True)
class Circle:
    """A circle about (u, v)."""

    u: float
    v: float
    radius_mm: float
    stroke: str | None = BLACK
    width_mm: float = 0.25
    fill: str | None = None
    tag: str = ""


@dataclass(frozen=True)
class Text:
    """One line of text; (u, v) is on its base line at the anchor; `angle_deg` turns it about that.

    `backed` draws a white rectangle under it first.
    """

    u: float
    v: float
    words: str
    size_pt: float = 9.0
    bold: bool = False
    anchor: Anchor = "start"
    angle_deg: float = 0.0
    colour: str = BLACK
    backed: bool = False
    tag: str = ""


@dataclass(frozen=True)
class Group:
    """Items moved by (du, dv), then clipped to `clip` (u0, v0, u1, v1 in the parent's frame)."""

    items: tuple["Item", ...]
    du: float = 0.0
    dv: float = 0.0
    clip: Box | None = None


Item = Path | Circle | Text | Group


@dataclass(frozen=True)
class Drawing:
    """A finished display list of one size."""

    width_mm: float
    height_mm: float
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Block:
    """A piece of a text page: items in a frame whose origin is the block's own lower left."""

    height_mm: float
    items: tuple[Item, ...]
    keep_with_next: bool = False
    new_page: bool = False  # begins a page


@dataclass(frozen=True)
class PlateSheet:
    """A drawing at true size, tiled over pages as needed; `key` is a column printed beside it."""

    head: PageHead
    title: str
    drawing: Drawing
    key: tuple[Block, ...] = ()
    outline: Ring = ()  # in the drawing's frame; shown in the small diagram of the pages
    centre_u: float | None = None


@dataclass(frozen=True)
class TextSheet:
    """Blocks set one under the other, as many pages as they need."""

    head: PageHead
    title: str
    blocks: tuple[Block, ...] = field(default=())


Sheet = PlateSheet | TextSheet


def ring(points: ArrayLike) -> Ring:
    """(n, 2) points as plain floats, rounded to a micrometre so that bytes repeat."""
    array = np.round(np.asarray(points, dtype=np.float64).reshape(-1, 2), 3) + 0.0
    return tuple((float(u), float(v)) for u, v in array)


def line(points: ArrayLike, width_mm: float = 0.25, **more: object) -> Path:
    """An open line through (n, 2) points."""
    return Path((ring(points),), width_mm=width_mm, **more)  # type: ignore[arg-type]


def rectangle(box: Box, **more: object) -> Path:
    """A closed rectangle."""
    u0, v0, u1, v1 = box
    corners = ring([(u0, v0), (u1, v0), (u1, v1), (u0, v1)])
    return Path((corners,), closed=True, **more)  # type: ignore[arg-type]


def text_box(text: Text, pad_mm: float = 0.0) -> Box:
    """Axis-parallel box around a line of text, turned text included."""
    width = lettering.width_mm(text.words, text.size_pt, text.bold)
    down, up = lettering.DESCENT * text.size_pt, lettering.ASCENT * text.size_pt
    start = {"start": 0.0, "middle": -width / 2, "end": -width}[text.anchor]
    corners = [(start - pad_mm, -down - pad_mm), (start + width + pad_mm, -down - pad_mm)]
    corners += [(start + width + pad_mm, up + pad_mm), (start - pad_mm, up + pad_mm)]
    turn = np.radians(text.angle_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    us = [text.u + a * cos - b * sin for a, b in corners]
    vs = [text.v + a * sin + b * cos for a, b in corners]
    return min(us), min(vs), max(us), max(vs)


def overlap(a: Box, b: Box) -> float:
    """Common area of two boxes (mm2)."""
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    return max(width, 0.0) * max(height, 0.0)


def flatten(items: Iterable[Item], du: float = 0.0, dv: float = 0.0) -> Iterable[Item]:
    """All items without groups, moved to the outer frame; clips are forgotten."""
    for item in items:
        if isinstance(item, Group):
            yield from flatten(item.items, du + item.du, dv + item.dv)
        else:
            yield moved(item, du, dv)


def moved(item: Item, du: float, dv: float) -> Item:
    """The item moved by (du, dv)."""
    if du == 0.0 and dv == 0.0:
        return item
    return Group((item,), du, dv) if isinstance(item, Group) else _moved_plain(item, du, dv)


def _moved_plain(item: Path | Circle | Text, du: float, dv: float) -> Item:
    values = dict(item.__dict__)
    if isinstance(item, Path):
        values["rings"] = tuple(tuple((u + du, v + dv) for u, v in r) for r in item.rings)
        return Path(**values)
    values["u"], values["v"] = item.u + du, item.v + dv
    return Circle(**values) if isinstance(item, Circle) else Text(**values)


def bounds(item: Item) -> Box:
    """Axis-parallel box of one item (clips are obeyed for groups)."""
    if isinstance(item, Text):
        return text_box(item)
    if isinstance(item, Circle):
        r = item.radius_mm
        return item.u - r, item.v - r, item.u + r, item.v + r
    if isinstance(item, Path):
        points = np.array([p for r in item.rings for p in r])
        low, high = points.min(axis=0), points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])
    if item.clip is not None:
        return item.clip
    boxes = np.array([bounds(i) for i in item.items])
    shift = np.array([item.du, item.dv])
    low, high = boxes[:, :2].min(axis=0) + shift, boxes[:, 2:].max(axis=0) + shift
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
