"""Where no guide hole may be: named polygons on the inside of a plate."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats, freeze
from graduale.geometry.outline import Outline
from graduale.geometry.seats import corner_seats, end_seats
from graduale.plan.tools import layout_rule
from graduale.records.instrument import Instrument, PlateName

PLATFORM = "gluing platform and edge"
END_BLOCK = "end block seat"
CORNER_BLOCK = "corner block seat"
CHANNEL = "purfling groove and channel ring"
SOUNDHOLE = "soundhole with its wings and eyes"
BAR = "bar line"
POST = "post spot"
JOINT = "centre joint"
PIN = "locating pin"
RIM = (PLATFORM, CHANNEL, END_BLOCK, CORNER_BLOCK)  # round every plate; not reported row by row


@dataclass(frozen=True, eq=False)
class Zone:
    """A named area without guide holes; polygon (k, 2) mm, simple, the first point not repeated.

    An area with a hole in it is given as several zones of one name.
    """

    name: str
    polygon: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "polygon", freeze(self.polygon, (None, 2)))

    @property
    def shape(self) -> Polygon:
        """The same area for a polygon library."""
        return Polygon(self.polygon)


def keep_out_zones(
    plate: PlateName,
    instrument: Instrument,
    outline: Outline,
    soundholes: Sequence[Floats] = (),
    pins: Sequence[tuple[float, float, float]] = (),
) -> tuple[Zone, ...]:
    """All zones of one plate. Soundholes are closed rings (k, 2); pins are (x, y, diameter)."""
    body = outline.polygon
    areas = [*_rim(plate, instrument, outline), *_parts(plate, instrument, outline)]
    if plate == "top":
        # wings and eyes lie within the hull of the opening, 2 mm beyond it is the wing's edge
        areas += [(SOUNDHOLE, Polygon(h).convex_hull.buffer(2.0)) for h in soundholes]
    areas += [(PIN, Point(x, y).buffer(d / 2)) for x, y, d in pins]
    zones = []
    for name, area in areas:
        zones += [Zone(name, ring) for ring in simple_rings(area.intersection(body))]
    return tuple(zones)


def _rim(
    plate: PlateName, instrument: Instrument, outline: Outline
) -> list[tuple[str, BaseGeometry]]:
    """Platform, seats of blocks and linings, channel: everything that follows the edge."""
    choice, blocks = instrument.plate(plate), instrument.blocks
    rib_mm = instrument.body.overhang_mm + instrument.body.rib_thickness_mm
    body = outline.polygon
    lining_mm = rib_mm + blocks.lining_width_mm
    platform = body.difference(body.buffer(-max(choice.inside.platform_mm, lining_mm)))
    seats = end_seats(outline, rib_mm + blocks.end_depth_mm, blocks.end_width_mm)
    ends = end_seats(outline, choice.inside.platform_end_mm, blocks.end_width_mm)
    rule, at_mm = layout_rule(), choice.arch.channel_at_mm
    ring = body.buffer(-max(0.0, at_mm - rule.channel_half_mm))
    channel = ring.difference(body.buffer(-(at_mm + rule.channel_half_mm)))
    areas: list[tuple[str, BaseGeometry]] = [(PLATFORM, platform), (END_BLOCK, seats.union(ends))]
    seats_at = corner_seats(outline.xy, outline.corners, blocks.corner_depth_mm)
    areas += [(CORNER_BLOCK, Polygon(seat).buffer(rib_mm)) for seat in seats_at]
    return [*areas, (CHANNEL, channel)]


def _parts(
    plate: PlateName, instrument: Instrument, outline: Outline
) -> list[tuple[str, BaseGeometry]]:
    """Joint, bar and post."""
    areas: list[tuple[str, BaseGeometry]] = []
    if not instrument.plate(plate).wood.one_piece:
        x0, x1 = float(outline.xy[:, 0].min()), float(outline.xy[:, 0].max())
        half = layout_rule().joint_half_mm
        areas.append((JOINT, box(x0, -half, x1, half)))
    bar, post = instrument.bar, instrument.post
    if plate == "top" and bar.present:
        ends_y = (bar.lower_y_mm, bar.upper_y_mm)
        run = float(np.sqrt(max(bar.length_mm**2 - (ends_y[1] - ends_y[0]) ** 2, 0.0)))
        line = [(bar.lower_end_x_mm, ends_y[0]), (bar.lower_end_x_mm + run, ends_y[1])]
        areas.append((BAR, shapely.LineString(line).buffer(bar.width_mm / 2, cap_style="square")))
    if post.present:
        areas.append((POST, Point(post.x_mm, post.y_mm).buffer(post.diameter_mm / 2)))
    return areas


def simple_rings(area: BaseGeometry) -> list[Floats]:
    """The area as simple rings (k, 2) without holes; an area with holes is cut along the middle."""
    out: list[Floats] = []
    for part in getattr(area, "geoms", [area]):
        if not isinstance(part, Polygon) or part.area < 1e-6:
            continue
        if part.interiors:
            out += _halved(part)
        else:
            out.append(np.asarray(part.exterior.coords, dtype=np.float64)[:-1])
    return out


def _halved(part: Polygon) -> list[Floats]:
    """A ring-shaped part cut at the middle of its first hole, lengthwise."""
    low_x, low_y, high_x, high_y = part.bounds
    hole = Polygon(part.interiors[0]).bounds
    y = (hole[1] + hole[3]) / 2
    below = part.intersection(box(low_x - 1, low_y - 1, high_x + 1, y))
    above = part.intersection(box(low_x - 1, y, high_x + 1, high_y + 1))
    return [*simple_rings(below), *simple_rings(above)]
