"""Colour pictures of a plate: thickness, floor, reserve, slope; nodal lines of its tones."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, contains_xy
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats, GridMap
from graduale.prints.bands import bands, level_lines
from graduale.prints.data import PageHead, PlateDrawing, TapTone
from graduale.prints.figures import UNIT_NAMES, shown
from graduale.prints.lettering import wrap
from graduale.prints.plates import Stand, outline_items, small_stand
from graduale.prints.png import png_of
from graduale.prints.shades import VIRIDIS, Scale, scale_of
from graduale.prints.sheet import (
    BLACK,
    PALE,
    WHITE,
    Circle,
    Drawing,
    Group,
    Item,
    Path,
    Text,
    line,
    rectangle,
    ring,
)
from graduale.prints.svg import svg_of
from graduale.prints.views import plate_words, side_words
from graduale.words.numbers import Units

HIGH_MM, WIDE_MM = 170.0, 130.0  # the plate at most
LEGEND_MM, TOP_MM, EDGE_MM = 42.0, 21.0, 5.0
STEEP_DEG = 25.0


def map_picture(
    head: PageHead,
    plate: PlateDrawing,
    grid: GridMap,
    title: str,
    unit: str,
    *,
    scale: Scale | None = None,
    heavy: tuple[float, ...] = (),
    notes: Sequence[str] = (),
) -> Drawing:
    """Eight bands with labelled edges and black lines; `heavy` levels are drawn thick and named."""
    used = scale or scale_of(grid, unit)
    at = small_stand(head, plate, WIDE_MM, HIGH_MM)
    inner = [*shape_items(at, band_shapes(at, grid, used)), *_heavy_items(at, grid, heavy)]
    inner += [*outline_items(at, 0.5), *_post_items(at), *_side_words(at)]
    height = at.height_mm + TOP_MM + EDGE_MM
    width = max(at.width_mm + LEGEND_MM + 3 * EDGE_MM, 96.0)
    items: list[Item] = [Group(tuple(inner), EDGE_MM, EDGE_MM)]
    items += _titles(head, title, height, width)
    items += _legend(used, heavy, notes, at.width_mm + 2 * EDGE_MM, height - TOP_MM)
    return Drawing(width, height, tuple(items))


def length_scale(grid: GridMap, units: Units) -> Scale:
    """The scale of a map of lengths in mm, in `units`."""
    return scale_of(shown(grid, units), UNIT_NAMES[units])


def thickness_picture(head: PageHead, plate: PlateDrawing, scale: Scale | None = None) -> Drawing:
    """The decided thickness, in the unit of the scale (without one in the head's)."""
    title = "Thickness, square to the surface"
    return _length_picture(head, plate, plate.thickness, title, scale)


def floor_picture(
    head: PageHead, plate: PlateDrawing, floor: GridMap, kind: str, scale: Scale | None = None
) -> Drawing:
    """A floor map; `kind` says which ('lone spot' or 'joint')."""
    title = f"Floor, {kind}: not safe below"
    return _length_picture(head, plate, floor, title, scale)


def _length_picture(
    head: PageHead, plate: PlateDrawing, grid: GridMap, title: str, scale: Scale | None
) -> Drawing:
    """A map of lengths in mm (nx, ny), shown in the unit of the scale."""
    used = scale or length_scale(grid, head.units)
    units: Units = "inch" if used.unit == UNIT_NAMES["inch"] else "mm"
    return map_picture(head, plate, shown(grid, units), title, used.unit, scale=used)


def reserve_picture(head: PageHead, plate: PlateDrawing, reserve: GridMap) -> Drawing:
    """Reserve: limit over ratio; 1 is the limit, drawn thick."""
    return map_picture(head, plate, reserve, "Reserve (1 is the limit)", "", heavy=(1.0,))


def slope_picture(head: PageHead, plate: PlateDrawing, slope: GridMap) -> Drawing:
    """Slope of the outside; the line from which holes are not drilled with the plate level."""
    notes = ("Above the thick line: tilt the plate, or use the collar.",)
    title = "Slope of the outside"
    return map_picture(head, plate, slope, title, "degrees", heavy=(STEEP_DEG,), notes=notes)


def nodal_picture(head: PageHead, plate: PlateDrawing, tones: Sequence[TapTone]) -> Drawing:
    """Small plates in rows of four: lines that stay at rest, the half that moves one way shaded.

    Errors: ValueError for no tones.
    """
    if not tones:
        raise ValueError("no tap tones to draw")
    at = small_stand(head, plate, 44.0, 84.0)
    columns = min(4, len(tones))
    rows = (len(tones) + columns - 1) // columns
    cell_u, cell_v = max(at.width_mm + 3.0, 42.0), at.height_mm + 12.0
    width = max(columns * cell_u + 2 * EDGE_MM, 110.0)
    height = rows * cell_v + TOP_MM
    items = _titles(head, "Free plate: lines at rest for each tap tone", height, width)
    for k, tone in enumerate(tones):
        du = EDGE_MM + (k % columns) * cell_u + (cell_u - at.width_mm) / 2
        dv = height - TOP_MM - (k // columns + 1) * cell_v + 10.0
        items.append(Group(tuple(_tone_items(at, tone)), du, dv))
    return Drawing(width, height, tuple(items))


def picture_png(picture: Drawing, dpi: float = 150.0) -> bytes:
    """The picture as PNG."""
    return png_of(picture, dpi)


def picture_svg(picture: Drawing, title: str) -> str:
    """The picture as SVG."""
    return svg_of(picture, title)


@dataclass(frozen=True, eq=False)
class Shapes:
    """A part of a map in the body frame: (colour, rings) of its bands, and the lines between."""

    fills: tuple[tuple[str, tuple[Floats, ...]], ...]
    lines: tuple[Floats, ...]


def band_shapes(at: Stand, grid: GridMap, scale: Scale) -> tuple[Shapes, ...]:
    """A map as eight bands, to be drawn at any size.

    Platform and hollow part apart, so that a step between them stays a step.
    """
    out = []
    for area in (at.graduated, at.area.difference(at.graduated)):
        part = _within(grid, area)
        if part is None:
            continue
        colours = zip(VIRIDIS, bands(part, scale.edges, area), strict=True)
        fills = tuple((colour, rings) for colour, rings in colours if rings)
        levels = level_lines(part, scale.edges[1:-1], area, 3.0)
        out.append(Shapes(fills, tuple(p for lines in levels.values() for p in lines)))
    return tuple(out)


def shape_items(at: Stand, shapes: Sequence[Shapes], line_mm: float = 0.12) -> list[Item]:
    """Bands as they stand in a drawing, with lines between them."""
    items: list[Item] = []
    for part in shapes:
        for colour, rings in part.fills:
            drawn = tuple(ring(at.view.page(r)) for r in rings)
            items.append(Path(drawn, None, 0.0, closed=True, fill=colour))
        items += [line(at.view.page(p), line_mm) for p in part.lines]
    return items


def _within(grid: GridMap, area: BaseGeometry) -> GridMap | None:
    """The map where it lies in the area; None when nothing of it does."""
    if area.is_empty:
        return None
    xx, yy = np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij")
    inside = contains_xy(area, xx, yy) & np.isfinite(grid.values)
    return (
        GridMap(grid.x_mm, grid.y_mm, np.where(inside, grid.values, np.nan))
        if inside.any()
        else None
    )


def _heavy_items(at: Stand, grid: GridMap, heavy: tuple[float, ...]) -> list[Item]:
    found = level_lines(grid, heavy, at.area, 3.0) if heavy else {}
    items: list[Item] = []
    for parts in found.values():
        for p in parts:
            points = at.view.page(p)
            items += [line(points, 1.3, stroke=WHITE), line(points, 0.7)]
    return items


def _post_items(at: Stand) -> list[Item]:
    if at.plate.post is None:
        return []
    u, v = at.view.point(at.plate.post.x_mm, at.plate.post.y_mm)
    return [Circle(u, v, at.plate.post.diameter_mm / 2 * at.view.scale, BLACK, 0.25, WHITE)]


def _side_words(at: Stand) -> list[Item]:
    low, high = at.ends
    u, top = at.view.point(high, 0.0)
    middle = at.view.point((low + high) / 2, 0.0)[1]
    left, right = side_words(at.head)
    return [
        Text(u, top + 1.3, "▲ NECK", 8.5, True, "middle"),
        Text(2.8, middle, left, 8.5, True, "middle", 90.0),
        Text(at.width_mm - 0.4, middle, right, 8.5, True, "middle", 90.0),
    ]


def _titles(head: PageHead, title: str, height: float, width: float) -> list[Item]:
    hand = " · left-handed" if head.left_handed else ""
    name = wrap(head.instrument, width - 2 * EDGE_MM, 11, True)[0]
    lines = (f"{plate_words(head)}{hand}", f"{title}")
    items: list[Item] = [Text(EDGE_MM, height - 6.0, name, 11, True)]
    items += [Text(EDGE_MM, height - 11.0 - 4.2 * k, w, 9) for k, w in enumerate(lines)]
    return items


def _legend(
    scale: Scale, heavy: tuple[float, ...], notes: Sequence[str], u: float, top: float
) -> list[Item]:
    """Eight boxes, lowest at the bottom, every edge labelled; then the thick line and the notes."""
    box_v, box_u = 9.0, 8.0
    base = top - 8 * box_v - 8.0
    items: list[Item] = [Text(u, top - 4.0, f"in {scale.unit}" if scale.unit else "", 9, True)]
    for k, colour in enumerate(VIRIDIS):
        corner = (u, base + k * box_v, u + box_u, base + (k + 1) * box_v)
        items.append(rectangle(corner, width_mm=0.15, fill=colour))
    for k, words in enumerate(scale.words()):
        v = base + k * box_v
        items += [line([(u, v), (u + box_u + 1.2, v)], 0.15)]
        items.append(Text(u + box_u + 2.2, v - 1.2, words, 9))
    v = base - 8.0
    for level in heavy:
        items += [line([(u, v), (u + box_u, v)], 0.7)]
        items.append(Text(u + box_u + 2.2, v - 1.2, f"{level:g} {scale.unit}".strip(), 9, True))
        v -= 6.0
    for note in notes:
        for words in wrap(note, LEGEND_MM - 2.0, 8.5):
            items.append(Text(u, v - 1.2, words, 8.5))
            v -= 4.2
    return items


def _tone_items(at: Stand, tone: TapTone) -> list[Item]:
    items: list[Item] = []
    moving = bands(tone.shape, (-1.0, 0.0, 1.0), at.area)[1]
    if moving:
        items.append(
            Path(tuple(ring(at.view.page(r)) for r in moving), None, closed=True, fill=PALE)
        )
    for part in level_lines(tone.shape, (0.0,), at.area, 3.0)[0.0]:
        if LineString(part).length * at.view.scale > 1.0:
            items.append(line(at.view.page(part), 0.6))
    words = f"{tone.hz:.0f} Hz"
    middle = at.width_mm / 2
    items += [*outline_items(at, 0.25), *_side_words(at)]
    items.append(Text(middle, -3.6, words, 10, True, "middle"))
    return [*items, Text(middle, -7.8, tone.name, 9, anchor="middle")]
