"""What every plate drawing shares: the frame it is drawn in, outline, openings, bar, post, feet."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.prints.bands import plate_area
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.sheet import BLACK, GREY, Box, Circle, Item, Path, Text, line, ring
from graduale.prints.views import View, bass_sign, side_words

SIDE_MM, END_MM = 8.0, 8.0  # white paper round the plate
OFF_SEAM_MM = 19.0
SMALL_SIDE_MM, SMALL_TOP_MM = 4.5, 5.0


@dataclass(frozen=True, eq=False)
class Stand:
    """A plate standing in its drawing: view, size, and its area in both frames."""

    head: PageHead
    plate: PlateDrawing
    view: View
    width_mm: float
    height_mm: float

    @cached_property
    def outline(self) -> Floats:
        """Outline in the drawing's frame, (n, 2)."""
        return self.view.page(self.plate.outline)

    @cached_property
    def shape(self) -> Polygon:
        """The plate without openings taken out, in the drawing's frame."""
        return Polygon(self.outline).buffer(0)

    @cached_property
    def area(self) -> BaseGeometry:
        """The plate in the body frame, openings taken out."""
        return plate_area(self.plate.outline, self.plate.openings)

    @cached_property
    def graduated(self) -> BaseGeometry:
        """The area in the body frame where thickness is chosen: inside the gluing platform."""
        line_ = self.plate.platform_line
        return self.area if line_ is None else self.area.intersection(Polygon(line_).buffer(0))

    @property
    def bounds(self) -> Box:
        """The drawing's own box."""
        return 0.0, 0.0, self.width_mm, self.height_mm

    @property
    def ends(self) -> tuple[float, float]:
        """Lowest and highest x of the plate."""
        x = self.plate.outline[:, 0]
        return float(x.min()), float(x.max())


def stand(head: PageHead, plate: PlateDrawing, side_mm: float = SIDE_MM) -> Stand:
    """The plate set upright in a drawing just large enough.

    Errors: ValueError when head and drawing are of different plates.
    """
    if head.plate != plate.plate:
        raise ValueError(f"the head says {head.plate}, the drawing is of the {plate.plate}")
    sign = bass_sign(head)
    low, high = plate.outline.min(axis=0), plate.outline.max(axis=0)
    left = min(sign * low[1], sign * high[1])
    u0, v0 = float(side_mm - left), float(END_MM - low[0])
    width = float(high[1] - low[1]) + 2 * side_mm
    height = float(high[0] - low[0]) + 2 * END_MM
    return Stand(head, plate, View(sign, u0, v0), width, height)


def small_stand(head: PageHead, plate: PlateDrawing, wide_mm: float, high_mm: float) -> Stand:
    """The plate at the largest scale that fits, with room for the names of the sides."""
    low, high = plate.outline.min(axis=0), plate.outline.max(axis=0)
    scale = float(min(wide_mm / (high[1] - low[1]), high_mm / (high[0] - low[0])))
    sign = bass_sign(head)
    left = float(min(sign * low[1], sign * high[1])) * scale
    width = float(high[1] - low[1]) * scale + 2 * SMALL_SIDE_MM
    height = float(high[0] - low[0]) * scale + SMALL_TOP_MM + 1.0
    view = View(sign, SMALL_SIDE_MM - left, 1.0 - float(low[0]) * scale, scale)
    return Stand(head, plate, view, width, height)


def outline_items(at: Stand, width_mm: float = 0.5) -> list[Item]:
    """Outline and openings."""
    rings = [at.outline, *(at.view.page(o) for o in at.plate.openings)]
    return [Path((ring(r),), BLACK, width_mm, closed=True) for r in rings]


def guide_items(at: Stand) -> list[Item]:
    """Rib line, platform line and centre line, each in its own dash."""
    items: list[Item] = []
    if at.plate.rib_line is not None:
        rib = ring(at.view.page(at.plate.rib_line))
        items.append(Path((rib,), GREY, 0.15, (0.6, 0.9), closed=True))
    if at.plate.platform_line is not None:
        inner = ring(at.view.page(at.plate.platform_line))
        items.append(Path((inner,), BLACK, 0.2, (2.5, 1.2), closed=True))
    return [*items, centre_line(at)]


def centre_line(at: Stand) -> Path:
    """The middle of the body, a little beyond both ends."""
    low, high = at.ends
    ends = [at.view.point(low - 4.0, 0.0), at.view.point(high + 4.0, 0.0)]
    return line(ends, 0.15, stroke=BLACK, dash_mm=(8.0, 1.5, 1.5, 1.5))


def fitting_items(at: Stand) -> list[Item]:
    """Bar, post and bridge feet as thin lines."""
    items: list[Item] = []
    shapes = [at.plate.bar] if at.plate.bar is not None else []
    for shape in (*shapes, *at.plate.feet):
        items.append(Path((ring(at.view.page(shape)),), BLACK, 0.2, (1.2, 0.8), closed=True))
    if at.plate.post is not None:
        u, v = at.view.point(at.plate.post.x_mm, at.plate.post.y_mm)
        items.append(Circle(u, v, at.plate.post.diameter_mm / 2, BLACK, 0.2))
    return items


def side_items(at: Stand, size_pt: float = 11.0) -> list[Item]:
    """BASS and TREBLE beside the waist, NECK above the upper end, where there is paper."""
    shape = at.shape
    low, high = at.ends
    at_left, at_right = side_words(at.head)
    x = _waist_x(at.plate.outline, low, high)
    v = at.view.point(x, 0.0)[1]
    if abs(v - at.height_mm / 2) < OFF_SEAM_MM:  # the middle is where two pages are joined
        v = at.height_mm / 2 + OFF_SEAM_MM
    band = shape.intersection(LineString([(-1e3, v), (1e4, v)]))
    u0, _, u1, _ = band.bounds
    middle = at.view.point(0.0, 0.0)[0]
    left, right = max(u0 - 5.0, 4.0), min(u1 + 8.0, at.width_mm - 0.8)
    return [
        Text(left, v, at_left, size_pt, True, "middle", 90.0, tag="side"),
        Text(right, v, at_right, size_pt, True, "middle", 90.0, tag="side"),
        Text(middle + 2.0, at.view.point(high, 0)[1] + 2.0, "NECK ▲", size_pt, True, tag="side"),
    ]


def _waist_x(outline: Floats, low: float, high: float) -> float:
    """x of the narrowest place in the middle third."""
    shape = Polygon(outline).buffer(0)
    xs = np.linspace(low + (high - low) / 3, high - (high - low) / 3, 41)
    widths = [shape.intersection(LineString([(x, -1e3), (x, 1e3)])).length for x in xs]
    return float(xs[int(np.argmin(widths))])


def line_geometry(items: list[Item]) -> list[BaseGeometry]:
    """The drawn lines as geometry, for the labels to keep off."""
    found: list[BaseGeometry] = []
    for item in items:
        if isinstance(item, Path):
            for points in item.rings:
                closed = (*points, points[0]) if item.closed else points
                if len(closed) > 1:
                    found.append(LineString(closed))
        elif isinstance(item, Circle):
            turn = np.linspace(0, 2 * np.pi, 25)
            us, vs = item.u + item.radius_mm * np.cos(turn), item.v + item.radius_mm * np.sin(turn)
            found.append(LineString(np.column_stack([us, vs])))
    return found
