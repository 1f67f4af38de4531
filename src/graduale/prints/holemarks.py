"""Holes with their settings on the sheet: marks, arrows of the tilt, labels beside them."""

import re
from dataclasses import dataclass
from math import cos, radians, sin

from shapely import LineString
from shapely.geometry.base import BaseGeometry

from graduale.prints.data import HoleGroup, HoleMark
from graduale.prints.labels import Label, Placed, Placer, Words
from graduale.prints.marks import ARM_MM, SIGN_MM, hole_mark
from graduale.prints.plates import Stand
from graduale.prints.sheet import BLACK, Box, Item, Path, bounds

LONG_MM = 7.0  # a longer leader is avoided by smaller letters
ARROW_MM = 3.6  # arrow of the tilt, from the middle of the mark
LETTER = {("rest", "level"): "R", ("rest", "tilted"): "T", ("collar", "level"): "C"}
LETTER |= {("collar", "tilted"): "CT"}
MEANING = {
    "R": "Number alone: on the rest, plate level; gap from rest tip to bit end",
    "T": "T: on the rest, plate tilted square to the bit; gap from rest tip to bit end",
    "C": "C: collar, plate level; depth of the bit below the collar",
    "CT": "CT: collar, plate tilted square to the bit; depth of the bit below the collar",
}


@dataclass(frozen=True)
class Style:
    """Sizes of letters and marks on one sheet, and the side on which settings stand if they can.

    Without size of a name the setting stands alone: number and tilt are then in the hole list.
    """

    setting_pt: float
    name_pt: float | None
    scale: float
    prefer_deg: float


STYLES = tuple(
    Style(setting, name, scale, prefer)
    for setting, name, scale in (
        (10.5, 8.0, 1.0),
        (9.5, 7.5, 1.0),
        (8.5, 7.0, 0.85),
        (8.0, 6.5, 0.7),
        (8.0, None, 0.7),
    )
    for prefer in (0.0, 90.0)
)


def letter(hole: HoleMark | HoleGroup) -> str:
    """The letter that keeps the methods apart: R, T, C or CT."""
    return LETTER[(hole.method, hole.hold)]


def setting_words(hole: HoleMark | HoleGroup) -> str:
    """The setting as it stands beside the hole; the number alone is the rest, plate level."""
    mark = letter(hole)
    return hole.setting if mark == "R" else f"{mark} {hole.setting}"


def holes_with_settings(
    at: Stand, taken: list[Box], lines: list[BaseGeometry]
) -> tuple[list[Item], list[Placed]]:
    """Marks and placed labels, in the largest style in which nearly all stand beside their hole and
    none is led far away; where there is no such style, in the one that leads least far."""
    styles = STYLES[_first_style(at, taken, lines) :]
    best: tuple[float, Style, list[Placed]] | None = None
    for style in styles:
        placer = Placer(at.bounds, _boxes(at, style) + taken, lines)
        placed = placer.place(_labels(at, style))
        far = _led_far(placed)
        if best is None or far < best[0] - 1e-9:
            best = far, style, placed
        if far == 0.0:
            break
    if best is None:
        raise ValueError("no style to set the holes in")
    return _marks(at, best[1]), best[2]


def _first_style(at: Stand, taken: list[Box], lines: list[BaseGeometry]) -> int:
    """The largest style in which nearly all labels may stand where they would; else the one in
    which most may."""
    best: tuple[int, int] | None = None
    for k, style in enumerate(s for s in STYLES if s.name_pt is not None):
        placer = Placer(at.bounds, _boxes(at, style) + taken, lines)
        troubled = placer.troubled(_labels(at, style))
        if best is None or troubled < best[0]:
            best = troubled, k
        if troubled <= 0.12 * len(at.plate.holes):
            break
    return best[1] if best else 0


def _led_far(placed: list[Placed]) -> float:
    """By how much leaders are longer than an eye follows with ease (mm), and meet one another."""
    leaders = [p.leader for p in placed if p.leader is not None]
    ways = [LineString(leader) for leader in leaders]
    met = sum(a.intersects(b) for k, a in enumerate(ways) for b in ways[:k])
    return sum(max(0.0, w.length - LONG_MM) for w in ways) + 5.0 * met


def _few_tilted(at: Stand) -> bool:
    return sum(h.tilt_deg > 0 for h in at.plate.holes) < 0.5 * len(at.plate.holes)


def _reach(at: Stand, hole: HoleMark, style: Style) -> float:
    """Clear radius of a mark; where most are tilted a setting may stand close on the other side of
    the arrow."""
    arrow = hole.tilt_deg > 0 and _few_tilted(at)
    return (ARROW_MM if arrow else ARM_MM) * style.scale


def _boxes(at: Stand, style: Style) -> list[Box]:
    """What no label may cover: the marks, and the arrows of the tilt where they stand apart."""
    boxes = []
    few = _few_tilted(at)
    for hole in at.plate.holes:
        (u, v), r = at.view.point(hole.x_mm, hole.y_mm), _reach(at, hole, style)
        boxes.append((u - r, v - r, u + r, v + r))
        if hole.tilt_deg > 0 and not few:
            boxes.append(bounds(_down_arrow(at, hole, (u, v), style.scale)))
    return boxes


def _marks(at: Stand, style: Style) -> list[Item]:
    order = {g.key: k for k, g in enumerate(at.plate.groups)}
    items: list[Item] = []
    for hole in at.plate.holes:
        u, v = at.view.point(hole.x_mm, hole.y_mm)
        items += hole_mark(u, v, order.get(hole.group, 0), "mark", style.scale)
        if hole.tilt_deg > 0:
            items.append(_down_arrow(at, hole, (u, v), style.scale))
    return items


def _down_arrow(at: Stand, hole: HoleMark, mark: tuple[float, float], scale: float) -> Path:
    """From the mark toward the side of the plate that goes down under the bit."""
    turn = radians(hole.tilt_azimuth_deg)
    e = (at.view.sign * sin(turn), cos(turn))

    def spot(along: float, aside: float) -> tuple[float, float]:
        u = mark[0] + scale * (along * e[0] - aside * e[1])
        return u, mark[1] + scale * (along * e[1] + aside * e[0])

    tip = spot(ARROW_MM, 0.0)
    back = ARROW_MM - 1.2
    barbs = (spot(back, -0.8), tip, spot(back, 0.8))
    return Path(((spot(SIGN_MM, 0.0), tip), barbs), BLACK, 0.25, tag="mark")


def _labels(at: Stand, style: Style) -> list[Label]:
    labels = []
    few = _few_tilted(at)
    for hole in at.plate.holes:
        u, v = at.view.point(hole.x_mm, hole.y_mm)
        tilt = f" {hole.tilt_deg:.0f}°" if hole.tilt_deg > 0 else ""
        said = setting_words(hole)
        if at.head.units == "inch":  # short, so that it stands close to its hole
            said = re.sub(r"\b0\.", ".", said)
        setting = Words(said, style.setting_pt, True)
        lines: tuple[Words, ...] = (setting,)
        if style.name_pt is not None:
            lines += (Words(f"{hole.id}{tilt}", style.name_pt),)
        outward = 0.0 if u > at.view.u0 else 180.0  # where few are tilted they lie on the flanks
        prefer = outward if tilt and few else style.prefer_deg
        labels.append(Label(u, v, lines, _reach(at, hole, style), "hole", prefer))
    return labels
