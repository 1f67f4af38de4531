"""Which readings tell how a plate is now: on the carved part, of the last stage, not superseded."""

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from graduale.base.arrays import Floats, freeze
from graduale.base.findings import Finding, Refused
from graduale.files.readings import Readings
from graduale.records.instrument import PlateName
from graduale.thickness.field import Layout

State = Literal["before_holes", "holes_cut", "finished"]
LEAST_COUNT = 6
_SAME_PLACE_MM = 3.0
_EDGE_DIFFERS_MM = 0.5
_DAY = re.compile(r"^\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, eq=False)
class Current:
    """Readings xy (n, 2), t_mm (n,) that count; rows (n,) in the file's order; stage as written."""

    which: PlateName
    xy: Floats
    t_mm: Floats
    rows: tuple[int, ...]
    stage: str
    findings: tuple[Finding, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "xy", freeze(self.xy, (len(self.rows), 2)))
        object.__setattr__(self, "t_mm", freeze(self.t_mm, (len(self.rows),)))

    @property
    def state(self) -> State:
        """How far the work is, by the stage's name."""
        return state_of(self.stage)


def state_of(stage: str) -> State:
    """'before_holes' and 'holes_cut' are states of the top; any other stage counts as finished."""
    plain = _plain(stage)
    if plain in ("before_holes", "before_soundholes"):
        return "before_holes"
    return "holes_cut" if plain in ("holes_cut", "soundholes_cut") else "finished"


def _plain(stage: str) -> str:
    return stage.strip().lower().replace(" ", "_").replace("-", "_")


def current(readings: Readings, layout: Layout, name: str) -> Current | None:
    """The readings of the layout's plate that count; None when the file holds none of it.

    `name` is the file's for the sentences. Errors: Refused for readings off the plate, and for
    fewer than six that count.
    """
    which = layout.body.which
    rows = [i for i, plate in enumerate(readings.plate) if plate == which]
    if not rows:
        return None
    found: list[Finding] = []
    rows = _in_order(readings, rows)
    stage = readings.stage[rows[-1]]
    rows = _last_stage(readings, rows, stage, name, found)
    rows = _not_superseded(readings, rows)
    rows = _on_wood(readings, sorted(rows), layout, stage, name, found)
    if len(rows) < LEAST_COUNT:
        sentence = (
            f"has {len(rows)} readings of the {which} that count; measure at least {LEAST_COUNT} "
            "inside the gluing platform, spread over the plate."
        )
        raise Refused([*found, Finding("error", "too-few-readings", name, sentence)])
    xy, t_mm = _xy(readings, rows), readings.t_mm[rows]
    return Current(which, xy, t_mm, tuple(rows), stage, tuple(found))


def _xy(readings: Readings, rows: list[int]) -> Floats:
    return np.column_stack([readings.x_mm[rows], readings.y_mm[rows]])


def _in_order(readings: Readings, rows: list[int]) -> list[int]:
    """By day when every reading has one, else as they stand in the file."""
    if all(_DAY.match(readings.when[i]) for i in rows):
        return sorted(rows, key=lambda i: (readings.when[i], i))
    return rows


def _last_stage(
    readings: Readings, rows: list[int], stage: str, name: str, found: list[Finding]
) -> list[int]:
    kept = [i for i in rows if _plain(readings.stage[i]) == _plain(stage)]
    if len(kept) < len(rows):
        said = f"'{stage}'" if stage else "without a stage"
        sentence = (
            f"{len(rows) - len(kept)} readings of the {readings.plate[rows[0]]} from other stages "
            f"are left out; the last stage is {said}."
        )
        found.append(Finding("note", "earlier-stages", name, sentence))
    return kept


def _not_superseded(readings: Readings, rows: list[int]) -> list[int]:
    """Without those within 3 mm of a reading of a later day."""
    if not all(_DAY.match(readings.when[i]) for i in rows):
        return rows
    xy = _xy(readings, rows)
    day = np.array([readings.when[i][:10] for i in rows])
    near = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) <= _SAME_PLACE_MM
    old = (near & (day[None, :] > day[:, None])).any(axis=1)
    return [i for i, gone in zip(rows, old, strict=True) if not gone]


def _on_wood(
    readings: Readings, rows: list[int], layout: Layout, stage: str, name: str, found: list[Finding]
) -> list[int]:
    body, xy = layout.body, _xy(readings, rows)
    off = body.outline.edge_distance(xy) < 0.0
    if off.any():
        raise Refused([_off_plate(xy[i], layout, name) for i in np.flatnonzero(off)[:8]])
    seat = layout.basis(xy).seat
    height = body.arching.height(xy)
    highest = height * body.arching.normal(xy)[:, 2]
    in_hole = np.zeros(len(rows), dtype=bool)
    for ring in body.openings:
        in_hole |= shapely.contains_xy(shapely.Polygon(ring), xy[:, 0], xy[:, 1])
    if state_of(stage) == "before_holes":
        in_hole[:] = False
    keep = []
    for k, row in enumerate(rows):
        t = float(readings.t_mm[row])
        place = f"{name}: {body.which}, x {xy[k, 0]:g}, y {xy[k, 1]:g}"
        if in_hole[k]:
            sentence = (
                "lies in a soundhole and is left out; correct the place, or the stage if the hole "
                "is not cut yet (before_holes)."
            )
            found.append(Finding("warning", "reading-in-hole", place, sentence))
        elif seat[k]:
            found += _at_seat(t, float(height[k]), place)
        else:
            found += _too_thick(t, float(highest[k]), place)
            keep.append(row)
    return keep


def _off_plate(xy: Floats, layout: Layout, name: str) -> Finding:
    place = f"{name}: {layout.body.which}, x {xy[0]:g}, y {xy[1]:g}"
    sentence = (
        "lies outside the outline; x runs from the lower edge to the neck, y from the middle to "
        "the bass side, both in mm. Correct the place, or take the line out."
    )
    return Finding("error", "reading-off-plate", place, sentence)


def _at_seat(t: float, height: float, place: str) -> list[Finding]:
    """Edge and platform are taken as finished at the outside height; a reading may differ."""
    if abs(t - height) <= _EDGE_DIFFERS_MM:
        return []
    sentence = (
        f"reads {t:g} on the gluing surface, where the file's outside is {height:.1f} high; the "
        "map keeps the file's height. Correct the edge or the arching in the file."
    )
    return [Finding("warning", "edge-differs", place, sentence)]


def _too_thick(t: float, highest: float, place: str) -> list[Finding]:
    if t <= highest + _EDGE_DIFFERS_MM:
        return []
    sentence = (
        f"reads {t:g}, more than the {highest:.1f} that the file's outside has there; the map "
        "keeps to the outside. Correct the arching or the reading."
    )
    return [Finding("warning", "thicker-than-outside", place, sentence)]
