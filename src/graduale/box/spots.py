"""Named places on a plate at which loads press and stress is read; the same names on every body."""

from dataclasses import dataclass

import numpy as np
import shapely

from graduale.base.arrays import Floats
from graduale.box.plate import PlateBody
from graduale.geometry.outline import Outline
from graduale.geometry.seats import corner_seats
from graduale.records.instrument import Instrument, PlateName

STATIONS = 12  # along the length: about every 25 mm on a narrow body
ACROSS = (0.0, 0.42, -0.42, 0.74, -0.74)  # of the half width, + to the bass
_KEEP_FROM_EDGE_MM = 7.0
_KEEP_FROM_HOLE_MM = 7.0
_KEEP_FROM_BLOCK_MM = 8.0
_HOLE_INSET_MM = 3.0


@dataclass(frozen=True)
class Spot:
    """A place: `key` is the same on every body, `name` is what the maker reads; plan (x, y) in
    mm."""

    key: str
    name: str
    plate: PlateName
    x_mm: float
    y_mm: float


def place_name(outline: Outline, corners_x: tuple[float, float], xy: tuple[float, float]) -> str:
    """Plain words for a place: bout, side, crown or flank."""
    x, y = xy
    low, high = corners_x
    along = "lower bout" if x < low else "upper bout" if x > high else "waist"
    bass, treble = outline.half_widths(np.array([x]))
    half = float(bass[0] if y >= 0 else treble[0])
    share = abs(y) / max(half, 1e-6)
    if share < 0.2:
        return f"{along}, middle"
    return (
        f"{along}, {'flank' if share > 0.6 else 'half way'}, {'bass' if y > 0 else 'treble'} side"
    )


def press_spots(instrument: Instrument, body: PlateBody) -> tuple[Spot, ...]:
    """Press places on a regular pattern of shares of length and width; none in holes or on
    blocks."""
    outline, out = body.outline, []
    corners = (instrument.body.lower_corner_at_mm, instrument.body.upper_corner_at_mm)
    holes = (
        shapely.union_all([shapely.Polygon(r) for r in body.openings]) if body.openings else None
    )
    seats = corner_seats(outline.xy, outline.corners, instrument.blocks.corner_depth_mm)
    blocks = shapely.union_all([shapely.Polygon(s).buffer(0.0) for s in seats])
    ends = instrument.blocks.end_depth_mm + instrument.body.overhang_mm + 4.0
    for k in range(STATIONS):
        x = (k + 0.5) / STATIONS * instrument.body.length_mm
        bass, treble = outline.half_widths(np.array([x]))
        for e, share in enumerate(ACROSS):
            y = share * float(bass[0] if share >= 0.0 else treble[0])
            point = np.array([[x, y]])
            if float(outline.edge_distance(point)[0]) < _KEEP_FROM_EDGE_MM:
                continue
            if holes is not None and holes.distance(shapely.Point(x, y)) < _KEEP_FROM_HOLE_MM:
                continue
            if blocks.distance(shapely.Point(x, y)) < _KEEP_FROM_BLOCK_MM:
                continue
            if x < ends or x > instrument.body.length_mm - ends:
                continue
            name = place_name(outline, corners, (x, y))
            out.append(Spot(f"press {k + 1}.{e + 1}", name, body.which, x, y))
    return tuple(out)


def strung_spots(instrument: Instrument, body: PlateBody) -> tuple[Spot, ...]:
    """Feet, post, edges of the soundholes: where the strings stress the plate."""
    which, out = body.which, []
    bridge, post = instrument.bridge, instrument.post
    if post.present:
        out.append(Spot("post", "over the post", which, post.x_mm, post.y_mm))
    if which == "back":
        return tuple(out)
    out.append(Spot("bass foot", "under the bass foot", which, bridge.x_mm, bridge.bass_foot_y_mm))
    out.append(
        Spot("treble foot", "under the treble foot", which, bridge.x_mm, bridge.treble_foot_y_mm)
    )
    for ring in body.openings:
        side = "bass" if float(ring[:, 1].mean()) > 0.0 else "treble"
        out += [
            Spot(f"{side} hole {end}", f"{side} soundhole, {end}", which, float(p[0]), float(p[1]))
            for end, p in hole_edge_points(ring).items()
        ]
    return tuple(out)


def hole_edge_points(ring: Floats) -> dict[str, Floats]:
    """Points just outside an opening: both ends and both long sides, (2,) each."""
    around = np.asarray(shapely.Polygon(ring).buffer(_HOLE_INSET_MM).exterior.coords)
    middle = ring.mean(axis=0)
    near = np.abs(around[:, 0] - middle[0]) < 0.12 * np.ptp(ring[:, 0])
    inner = around[near][np.argmin(np.abs(around[near][:, 1]))]
    outer = around[near][np.argmax(np.abs(around[near][:, 1]))]
    return {
        "lower end": around[np.argmin(around[:, 0])],
        "upper end": around[np.argmax(around[:, 0])],
        "inner side": inner,
        "outer side": outer,
    }
