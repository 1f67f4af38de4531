"""Invented plates for the tests of the prints: shapes by formula, no instrument meant."""

from collections.abc import Callable

import numpy as np
from shapely import Polygon

from graduale.base.arrays import Floats, GridMap
from graduale.prints.data import (
    HoleGroup,
    HoleMark,
    PageHead,
    PlateDrawing,
    Post,
    ScrapCut,
    Stage,
    Station,
    Tool,
    Words,
    Zone,
)

NARROW = (320.0, 84.0, 60.0, 108.0)  # length, upper, waist, lower width
VIOLIN = (356.0, 168.0, 112.0, 208.0)


def head(plate: str = "top", **more: object) -> PageHead:
    """A page head of the sample instrument."""
    values: dict[str, object] = {
        "instrument": "Narrow fiddle no. 1",
        "plate": plate,
        "seen_from": "inside",
        "date": "2026-11-25",
        "digest": "3fa9c1e207",
    }
    return PageHead(**(values | more))  # type: ignore[arg-type]


def half_width(size: tuple[float, float, float, float]) -> Callable[[Floats], Floats]:
    """Half widths along x: cosine blend between bouts, rounded ends, two corners a side."""
    length, upper, waist, lower = size
    xs = np.array([0.0, 0.2, 0.36, 0.55, 0.66, 0.82, 1.0]) * length
    ws = np.array([lower * 0.86, lower, lower * 0.86, waist, upper * 0.86, upper, upper * 0.8]) / 2

    def at(x: Floats) -> Floats:
        base = np.interp(x, xs, ws)
        ends = np.minimum(x, length - x)
        round_off = np.sqrt(np.clip(1 - (1 - np.clip(ends / (0.16 * length), 0, 1)) ** 2, 0, 1))
        corner = sum(0.05 * lower * np.exp(-(((x - c * length) / 7.0) ** 2)) for c in (0.36, 0.68))
        return base * round_off + corner

    return at


def outline(size: tuple[float, float, float, float]) -> Floats:
    """Closed ring (n, 2), spacing about 1 mm."""
    x = np.linspace(0.0, size[0], 400)
    w = half_width(size)(x)
    right = np.column_stack([x, -w])
    left = np.column_stack([x[::-1], w[::-1]])
    return np.vstack([right, left[1:-1]])


def inset(ring: Floats, by_mm: float) -> Floats:
    """Ring moved inward."""
    return np.asarray(Polygon(ring).buffer(-by_mm).exterior.coords)[:-1]


def thickness(size: tuple[float, float, float, float], ring: Floats, centre: float) -> GridMap:
    """A smooth map, thickest in the middle and a little thicker on the bass side."""
    length = size[0]
    x = np.arange(0.0, length + 2.0, 2.0)
    y = np.arange(-size[3] / 2 - 2, size[3] / 2 + 4, 2.0)
    xx, yy = np.meshgrid(x, y, indexing="ij")
    bump = np.exp(-(((xx - 0.54 * length) / (0.28 * length)) ** 2) - (yy / (0.33 * size[2])) ** 2)
    t = 2.1 + (centre - 2.1) * bump + 0.12 * yy / size[3]
    from shapely import contains_xy

    inside = contains_xy(Polygon(ring), xx, yy)
    return GridMap(x, y, np.where(inside, t, np.nan))


def _f_hole(size: tuple[float, float, float, float], side: int) -> Floats:
    length, waist = size[0], size[2]
    x = np.linspace(0.44 * length, 0.63 * length, 30)
    s = (x - x[0]) / (x[-1] - x[0])
    y = side * waist * (0.36 - 0.2 * s + 0.05 * np.sin(2 * np.pi * s))
    wide = 1.4 + 1.6 * (np.exp(-((s / 0.1) ** 2)) + np.exp(-(((1 - s) / 0.1) ** 2)))
    return np.vstack([np.column_stack([x, y - wide]), np.column_stack([x, y + wide])[::-1]])


def sample(
    size: tuple[float, float, float, float] = NARROW, plate: str = "top", lone: bool = False
) -> PlateDrawing:
    """A whole plate with stations, zones, holes, stages; `lone` keeps one bass hole only."""
    ring = outline(size)
    t = thickness(size, ring, 3.4 if plate == "top" else 4.2)
    platform = inset(ring, 5.0)
    top = plate == "top"
    openings = (_f_hole(size, 1), _f_hole(size, -1)) if top else ()
    length, waist = size[0], size[2]
    bar = None
    if top:
        y0, y1 = 0.13 * waist, 0.1 * waist
        bar = np.array([(0.2 * length, y0), (0.8 * length, y1), (0.8 * length, y1 + 4.5)])
        bar = np.vstack([bar, [(0.2 * length, y0 + 4.5)]])
    post = Post(0.53 * length, -0.17 * waist, 5.0) if top else None
    zones = _zones(ring, platform, openings, bar, post, length)
    holes = _holes(t, platform, zones, size)
    if lone:
        zones = ()
        holes = (HoleMark("L1", 0.3 * length, 0.2 * waist, "5.1", "A", "rest", "level", 4.0, 4.4),)
    return PlateDrawing(
        plate="top" if top else "back",
        outline=ring,
        thickness=t,
        openings=openings,
        rib_line=inset(ring, 2.5),
        platform_line=platform,
        stations=_stations(t, size),
        zones=zones,
        holes=holes,
        groups=groups_of(holes),
        bar=bar,
        post=post,
        stages=_stages(t),
    )


def _zones(
    ring: Floats,
    platform: Floats,
    openings: tuple[Floats, ...],
    bar: Floats | None,
    post: Post | None,
    length: float,
) -> tuple[Zone, ...]:
    channel = inset(ring, 8.0)
    zones = [Zone("gluing platform and edge", (ring, platform))]
    zones.append(Zone("purfling groove and channel ring", (platform, channel)))
    for x0, x1, name in ((0.0, 14.0, "lower block"), (length - 14.0, length, "upper block")):
        zones.append(Zone(name, (np.array([(x0, -20), (x1, -20), (x1, 20), (x0, 20)]),)))
    for o in openings:
        wings = np.asarray(Polygon(o).buffer(5).exterior.coords)[:-1]
        zones.append(Zone("soundhole with its wings and eyes", (wings,)))
    if bar is not None:
        zones.append(Zone("bass bar", (np.asarray(Polygon(bar).buffer(2).exterior.coords)[:-1],)))
    if post is not None:
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        disc = np.column_stack([post.x_mm + 6 * np.cos(turn), post.y_mm + 6 * np.sin(turn)])
        zones.append(Zone("post", (disc,)))
    strip = np.array([(14.0, -2), (length - 14.0, -2), (length - 14.0, 2), (14.0, 2)])
    return (*zones, Zone("centre joint", (strip,)))


def _holes(
    t: GridMap, platform: Floats, zones: tuple[Zone, ...], size: tuple[float, float, float, float]
) -> tuple[HoleMark, ...]:
    free = Polygon(platform).buffer(-5)
    for z in zones:
        if len(z.rings) == 1:
            free = free.difference(Polygon(z.rings[0]).buffer(3))
    step = 11.0 if size[3] < 150 else 18.0
    found = []
    from shapely import Point

    for x in np.arange(20.0, size[0] - 15, step):
        for y in np.arange(-size[3] / 2 + 6, size[3] / 2, step):
            if not free.contains(Point(x, y)):
                continue
            leaves = round(float(t.at([(x, y)])[0]) + 1.5, 1)
            slope = min(32.0, 60.0 * abs(y) / size[3])
            hold = "tilted" if slope > 26 else "level"
            setting = f"{np.ceil((leaves + 0.02 * slope) * 5) / 5:.1f}"
            found.append((float(x), float(y), setting, hold, slope, leaves))
    keys = sorted({(f[3], f[2]) for f in found}, key=lambda k: (k[0], -float(k[1])))
    names = {k: chr(65 + n) for n, k in enumerate(keys)}
    return tuple(
        HoleMark(f"T{n + 1}", f[0], f[1], f[2], names[(f[3], f[2])], "rest", f[3], f[4], f[5])  # type: ignore[arg-type]
        for n, f in enumerate(found)
    )


def groups_of(holes: tuple[HoleMark, ...]) -> tuple[HoleGroup, ...]:
    """One group a key, in the order of the keys."""
    groups = []
    for key in sorted({h.group for h in holes}):
        mine = [h for h in holes if h.group == key]
        low, high = min(h.leaves_mm for h in mine), max(h.leaves_mm for h in mine)
        first = mine[0]
        groups.append(
            HoleGroup(
                key,
                first.setting,
                first.method,
                first.hold,
                "4 mm, 118° point",
                "point",
                len(mine),
                low,
                high,
            )
        )
    return tuple(groups)


def _stations(t: GridMap, size: tuple[float, float, float, float]) -> tuple[Station, ...]:
    length, upper, waist, lower = size
    places = [
        ("centre", 0.54 * length, 0.0),
        ("upper bout, bass", 0.8 * length, 0.25 * upper),
        ("upper bout, treble", 0.8 * length, -0.25 * upper),
        ("lower bout, bass", 0.22 * length, 0.25 * lower),
        ("lower bout, treble", 0.22 * length, -0.25 * lower),
        ("flank, bass", 0.56 * length, 0.33 * waist),
        ("flank, treble", 0.56 * length, -0.33 * waist),
        ("channel, upper", 0.94 * length, 0.0),
        ("channel, lower", 0.05 * length, 0.0),
        ("upper middle", 0.72 * length, 0.0),
        ("lower middle", 0.36 * length, 0.0),
    ]
    return tuple(Station(n, x, y, float(t.at([(x, y)])[0])) for n, x, y in places)


def _stages(t: GridMap) -> tuple[Stage, ...]:
    table = [
        ("drill", 1.5, 0.3),
        ("gouge", 0.75, 0.4),
        ("toothed plane", 0.4, 0.15),
        ("smooth plane", 0.2, 0.1),
        ("scraper", 0.05, 0.05),
        ("paper", 0.0, 0.03),
    ]
    return tuple(
        Stage(tool, GridMap(t.x_mm, t.y_mm, t.values + over), f"+{over:g}", scatter)
        for tool, over, scatter in table
    )


def cuts() -> tuple[ScrapCut, ...]:
    """Lines of a test card in every way of drilling."""
    return (
        ScrapCut("A", "rest", "level", "5.2", 4.0, 4.9, 0.1),
        ScrapCut("B", "rest", "level", "5.0", 20.0, 4.3, 0.2),
        ScrapCut("C", "rest", "tilted", "4.0", 0.0, 4.0, 0.1),
        ScrapCut("D", "collar", "level", "6.5", 18.0, 4.1, 0.4),
    )


REASONS = (
    Words(
        "Why so thick",
        (
            "The back is held by the spot under the post: at 2.9 mm its stress is 0.94 of the "
            "average instrument's, with 10 % in hand.",
            "The top is held by the stiffness across at the bridge feet.",
            "- The reference band rests on an averages table and on weights from memory.",
        ),
    ),
    Words(
        "Care",
        (
            "- Clamp the work; both hands behind the edge of the tool; a slip goes past you.",
            "- Cradle the plate while drilling; tie back sleeves and hair; wear eye protection.",
            "- Wood dust causes cancer in humans (IARC group 1): extraction and a fitted mask.",
        ),
    ),
)


def tool() -> Tool:
    """The drill of the sample."""
    return Tool(4.0, "point118", 5.0, 0.1)
