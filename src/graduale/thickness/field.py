"""Few numbers <-> thickness everywhere on a plate: zones, platform, what can be carved.

Zones (shortest distance, mm): centre, upper, lower along the crown, channel in the ring beside the
platform. The edge, the platform and the seats of blocks are finished: there the thickness is the
outside height. The thickness leaves the platform without a step, by at most 0.2 a mm.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.box.parts import block_regions
from graduale.box.plate import PlateBody
from graduale.geometry.seats import end_seats
from graduale.records.instrument import Instrument

ZONES = ("centre", "upper", "lower", "channel")
STEP_BESIDE_PLATFORM = 0.2  # mm a mm [own]
STEP_INSIDE = 0.06  # mm a mm, along and across together [own]
STEP_ACROSS = 0.045  # mm a mm: leaves the rest of it to the change along
_STEEPEST_OF_BLEND = 1.5  # greatest slope of the blend from 0 to 1 over unit length
_LONG_SHARE = 0.2  # of the length: how far centre and bouts blend
_RING_SHARE = 0.6  # of the way from platform to middle: how far channel and crown blend

# From the plainest to the freest: rows are zones, columns the free numbers.
FAMILIES: Mapping[str, Floats] = {
    "even": np.array([[1.0], [1.0], [1.0], [1.0]]),
    "centre and bouts": np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0], [0.0, 1.0]]),
    "centre, bouts, channel": np.array(
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    ),
    "centre, both bouts, channel": np.eye(4),
}


@dataclass(frozen=True, eq=False)
class Basis:
    """Zone shares at points: weights (n, 4); lowest and highest thickness (n,); seat (n,) finished.

    drop (n,): how far the ring beside the platform may differ from the crown there, so that the
    inside rises no steeper than a small plane follows.
    """

    weights: Floats
    drop: Floats
    lowest: Floats
    highest: Floats
    seat: "np.typing.NDArray[np.bool_]"

    def thickness(self, zones: Floats) -> Floats:
        """(n,) at zone values (4,)."""
        out: Floats = np.clip(self._raw(zones)[0], self.lowest, self.highest)
        return out

    def slopes(self, zones: Floats) -> Floats:
        """d thickness / d zones (n, 4), zero where a limit holds."""
        raw, rows = self._raw(zones)
        inside = (raw > self.lowest) & (raw < self.highest)
        out: Floats = rows * inside[:, None]
        return out

    def _raw(self, zones: Floats) -> tuple[Floats, Floats]:
        """Thickness before the limits, and its slopes (n, 4)."""
        ring = self.weights[:, 3]
        along = self.weights[:, :3] / np.maximum(1.0 - ring, 1e-12)[:, None]
        crown = along @ zones[:3]
        beside = np.clip(zones[3], crown - self.drop, crown + self.drop)
        rows = np.empty_like(self.weights)
        free = np.abs(zones[3] - crown) <= self.drop
        rows[:, :3] = np.where(free[:, None], self.weights[:, :3], along)
        rows[:, 3] = np.where(free, ring, 0.0)
        return (1.0 - ring) * crown + ring * beside, rows


@dataclass(frozen=True, eq=False)
class Layout:
    """Where zones and platform lie on one plate.

    least_mm and least_channel_mm bound the carved part from below; steepest: how fast thickness
    changes across, mm a mm (infinite for a map that is taken as it is).
    """

    body: PlateBody
    free: BaseGeometry = field(repr=False)  # the part that is carved
    lower_blend_mm: float  # x half way between centre and lower bout
    upper_blend_mm: float
    least_mm: float
    least_channel_mm: float
    steepest: float = STEP_ACROSS

    def basis(self, xy: Floats) -> Basis:
        """Shares and limits at points xy (n, 2) of the inside face."""
        height = self.body.arching.height(xy)
        carved = shapely.contains_xy(self.free, xy[:, 0], xy[:, 1])
        away, border_height = self._border(xy)
        away = np.where(carved, away, 0.0)
        slack = STEP_BESIDE_PLATFORM * away
        cos = self.body.arching.normal(xy)[:, 2]
        highest = np.minimum(border_height + slack, height * cos)
        weights, drop = self._shares(xy, away)
        least = self.least_mm + weights[:, 3] * (self.least_channel_mm - self.least_mm)
        lowest = np.minimum(np.maximum(border_height - slack, least), highest)
        seat_height = np.maximum(height, 0.3)
        return Basis(
            weights,
            drop,
            np.where(carved, lowest, seat_height),
            np.where(carved, highest, seat_height),
            ~carved,
        )

    def _border(self, xy: Floats) -> tuple[Floats, Floats]:
        """Distance to the platform's inner line, and the outside height there."""
        points = shapely.points(xy)
        lines = shapely.shortest_line(self.free.boundary, points)
        near = shapely.get_coordinates(shapely.get_point(lines, 0))
        return np.asarray(shapely.length(lines)), self.body.arching.height(near)

    def _shares(self, xy: Floats, away: Floats) -> tuple[Floats, Floats]:
        """Zone shares (n, 4), and the drop (n,) from crown to ring that may be carved."""
        length = self.body.outline.length_mm
        reach = _LONG_SHARE * length
        above_low = _smooth((xy[:, 0] - self.lower_blend_mm) / reach + 0.5)
        above_up = _smooth((xy[:, 0] - self.upper_blend_mm) / reach + 0.5)
        x = np.clip(xy[:, 0], 0.02 * length, 0.98 * length)
        half = np.minimum(*self.body.outline.half_widths(x))
        room = np.maximum(half - self.body.inside.platform_mm, 2.0)
        crown = _smooth(away / (_RING_SHARE * room))
        # the ring's share stops short of one, so that the crown's own shares stay defined there
        ring = np.minimum(1.0 - crown, 1.0 - 1e-9)
        along = np.stack([above_low - above_up, above_up, 1.0 - above_low], axis=1)
        drop = self.steepest * _RING_SHARE * room / _STEEPEST_OF_BLEND
        return np.column_stack([along * (1.0 - ring)[:, None], ring]), drop

    def at(self, zones: Floats) -> "Field":
        """The thickness rule at zone values (4,)."""
        return Field(self, np.asarray(zones, dtype=np.float64))


@dataclass(frozen=True, eq=False)
class Field:
    """A thickness rule: callable on points (n, 2) -> mm (n,)."""

    layout: Layout
    zones: Floats

    def __call__(self, xy: Floats) -> Floats:
        """Thickness at points of the inside face."""
        return self.layout.basis(xy).thickness(self.zones)


def layout_of(instrument: Instrument, body: PlateBody) -> Layout:
    """Platform, seats and zones of one plate of an instrument."""
    inner: BaseGeometry = shapely.Polygon(body.outline.inset(body.inside.platform_mm))
    rib = body.outline.inset(instrument.body.overhang_mm + 0.5 * instrument.body.rib_thickness_mm)
    tips = np.array(body.outline.corners).reshape(-1, 2)
    for region in block_regions(instrument, rib, tips):
        inner = inner.difference(shapely.Polygon(region.ring))
    wide, width = body.inside.platform_end_mm, instrument.blocks.end_width_mm
    inner = inner.difference(end_seats(body.outline, wide, width))
    parts = getattr(inner, "geoms", [inner])
    free = max(parts, key=lambda part: part.area)
    b = instrument.body
    least, channel = body.inside.least_mm, body.inside.least_channel_mm
    # the centre holds the bridge and the post: it is blended out below them, not across them
    lower = min(b.lower_corner_at_mm, instrument.bridge.x_mm - 0.5 * _LONG_SHARE * b.length_mm)
    return Layout(body, free, lower, b.upper_corner_at_mm, least, channel)


def _smooth(s: Floats) -> Floats:
    """0 below 0, 1 above 1, smooth between."""
    c = np.clip(s, 0.0, 1.0)
    out: Floats = c * c * (3.0 - 2.0 * c)
    return out
