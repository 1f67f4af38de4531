"""Parts in each other's way: soundholes, bar, post, feet, blocks, linings."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from graduale.base.arrays import Floats
from graduale.base.findings import Finding, Refused
from graduale.geometry.arching import Arching, arching_of
from graduale.geometry.openings import Eye, disc, eyes_of, soundholes_of
from graduale.geometry.outline import Outline, outline_of
from graduale.records.instrument import Instrument

EYE_CLEAR_MM = 1.5  # no part nearer to an eye


@dataclass(frozen=True, eq=False)
class Shapes:
    """Outline, outside surfaces and openings of one instrument."""

    outline: Outline
    top: Arching
    back: Arching
    holes: tuple[Floats, ...]
    eyes: tuple[Eye, ...]


def shapes_of(instrument: Instrument, name: str) -> tuple[Shapes | None, tuple[Finding, ...]]:
    """The shapes, or None and every reason why they cannot be drawn."""
    found: list[Finding] = []
    try:
        outline = outline_of(instrument.body)
    except Refused as refused:
        return None, _placed(refused, name, "body")
    arches: dict[str, Arching] = {}
    for which in ("top", "back"):
        shape = instrument.top.arch if which == "top" else instrument.back.arch
        try:
            arches[which] = arching_of(shape, outline)
        except Refused as refused:
            found += _placed(refused, name, f"{which}.arch", "arching")
    if found:
        return None, tuple(found)
    try:
        holes = soundholes_of(instrument.soundholes, instrument.body, outline, arches["top"])
        eyes = eyes_of(instrument.soundholes, outline, instrument.body)
    except Refused as refused:
        return None, _placed(refused, name, "soundholes")
    return Shapes(outline, arches["top"], arches["back"], holes, eyes), ()


def _placed(refused: Refused, name: str, place: str, old: str = "") -> tuple[Finding, ...]:
    """The findings with the file's name before their place."""
    out = []
    for f in refused.findings:
        where = f.where.replace(old, place, 1) if old else f.where
        sentence = f.sentence if f.sentence.endswith(".") else f"{f.sentence}."
        out.append(Finding(f.level, f.key, f"{name}: {where or place}", sentence))
    return tuple(out)


def clashes(instrument: Instrument, shapes: Shapes, name: str) -> tuple[Finding, ...]:
    """Every part that overlaps an opening, comes too near an eye, or meets another part."""
    rules: tuple[Callable[[Instrument, Shapes, str], Iterator[Finding]], ...]
    rules = (_on_holes, _bar_and_post, _off_field)
    return tuple(f for rule in rules for f in rule(instrument, shapes, name))


def parts_of(instrument: Instrument, shapes: Shapes) -> dict[str, tuple[str, BaseGeometry]]:
    """What touches the top: dotted key -> (its name, its area in plan)."""
    i = instrument
    parts: dict[str, tuple[str, BaseGeometry]] = {}
    if i.bar.present:
        parts["bar"] = ("the bar", _bar(i))
    if i.post.present:
        parts["post"] = ("the post", _disc(i.post.x_mm, i.post.y_mm, 0.5 * i.post.diameter_mm))
    for side, y in (("bass", i.bridge.bass_foot_y_mm), ("treble", i.bridge.treble_foot_y_mm)):
        half_x, half_y = 0.5 * i.bridge.foot_width_mm, 0.5 * i.bridge.foot_length_mm
        x = i.bridge.x_mm
        foot = shapely.box(x - half_x, y - half_y, x + half_x, y + half_y)
        parts[f"bridge.{side}_foot_y"] = (f"the {side} foot", foot)
    seat = i.body.overhang_mm + i.body.rib_thickness_mm
    plate = shapes.outline.polygon
    half, deep = 0.5 * i.blocks.end_width_mm, seat + i.blocks.end_depth_mm
    ends = shapely.union_all(
        [
            shapely.box(-1.0, -half, deep, half),
            shapely.box(i.body.length_mm - deep, -half, i.body.length_mm + 1.0, half),
        ]
    )
    parts["blocks.end_depth"] = ("an end block", ends)
    reach = i.blocks.corner_depth_mm
    if shapes.outline.corners and reach > 0.0:
        corners = [_corner(shapes.outline, tip, reach) for tip in shapes.outline.corners]
        parts["blocks.corner_depth"] = ("a corner block", shapely.MultiPolygon(corners))
    ring = plate.difference(plate.buffer(-(seat + i.blocks.lining_width_mm)))
    parts["blocks.lining_width"] = ("rib or lining", ring)
    return parts


def _corner(outline: Outline, tip: tuple[float, float], reach_mm: float) -> shapely.Polygon:
    """A corner block: the outline within `reach_mm` of the tip on both sides, closed by a chord."""
    xy = outline.xy
    turned = np.roll(xy, -int(np.argmin(np.hypot(*(xy - np.array(tip)).T))), axis=0)
    step = np.hypot(*(np.roll(turned, -1, axis=0) - turned).T)
    ahead = np.concatenate(([0.0], np.cumsum(step)))
    after, before = ahead[:-1] <= reach_mm, ahead[-1] - ahead[:-1] <= reach_mm
    return shapely.Polygon(np.vstack([turned[before], turned[after]]))


def _bar(i: Instrument) -> BaseGeometry:
    ends = (
        (i.bar.lower_end_x_mm, i.bar.lower_y_mm),
        (i.bar.lower_end_x_mm + i.bar.length_mm, i.bar.upper_y_mm),
    )
    return shapely.LineString(ends).buffer(0.5 * i.bar.width_mm, cap_style="flat")


def _disc(x: float, y: float, radius: float) -> shapely.Polygon:
    return shapely.Polygon(disc(x, y, radius))


def _on_holes(i: Instrument, shapes: Shapes, name: str) -> Iterator[Finding]:
    openings = [shapely.Polygon(ring) for ring in shapes.holes]
    eyes = [_disc(e.x_mm, e.y_mm, e.radius_mm) for e in shapes.eyes]
    for key, (what, area) in parts_of(i, shapes).items():
        where = f"{name}: {key}"
        if any(area.intersects(opening) for opening in openings):
            sentence = f"{what} overlaps a soundhole; move one of them."
            yield Finding("error", "part-on-soundhole", where, sentence)
            continue
        near = min((float(area.distance(eye)) for eye in eyes), default=np.inf)
        if near < EYE_CLEAR_MM:
            sentence = (
                f"{what} comes within {near:.1f} mm of a soundhole's eye; keep {EYE_CLEAR_MM} mm, "
                "so move one of them."
            )
            yield Finding("error", "part-near-eye", where, sentence)


def _bar_and_post(i: Instrument, shapes: Shapes, name: str) -> Iterator[Finding]:
    parts = parts_of(i, shapes)
    if "bar" in parts and "post" in parts and parts["bar"][1].intersects(parts["post"][1]):
        sentence = "the post stands on the bar; move one of them (y is positive to the bass)."
        yield Finding("error", "post-on-bar", f"{name}: post.y", sentence)


def _off_field(i: Instrument, shapes: Shapes, name: str) -> Iterator[Finding]:
    """Bar, post and feet on the ribs or off the plate."""
    parts = parts_of(i, shapes)
    lining = parts["blocks.lining_width"][1]
    for key in ("bar", "post", "bridge.bass_foot_y", "bridge.treble_foot_y"):
        if key not in parts:
            continue
        what, area = parts[key]
        if not shapes.outline.polygon.contains(area) or area.intersects(lining):
            sentence = f"{what} reaches on to the ribs or linings; move it in or make it smaller."
            yield Finding("error", "part-off-field", f"{name}: {key}", sentence)
