"""Pictures of a decision: thickness, floors, reserve, slope, node lines; PNG and SVG."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from graduale.base.arrays import GridMap
from graduale.box.plate import PlateBody
from graduale.jobs.deciding import Decided
from graduale.jobs.document import map_from
from graduale.jobs.doubt_text import worth_rows
from graduale.jobs.drawings import drawing_of, head_of
from graduale.jobs.reasons import KINDS
from graduale.jobs.reference import PLATES
from graduale.prints import pictures
from graduale.prints.data import TapTone, Verdict
from graduale.prints.gauges import verdict_picture
from graduale.prints.sheet import Drawing
from graduale.prints.worth import worth_picture
from graduale.records.instrument import Instrument, PlateName
from graduale.words.catalogue import say

DPI = 110.0


def pictures_of(made: Decided, document: Mapping[str, Any], date: str) -> dict[str, bytes | str]:
    """Files by name."""
    bodies = {w: made.plates[w].body for w in PLATES}
    lengths = _length_drawings(made.instrument, bodies, document, date)
    return _files(lengths | _drawings(made, document, date))


def length_pictures(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    document: Mapping[str, Any],
    date: str,
) -> dict[str, bytes | str]:
    """The pictures that show lengths, in the workshop's units, from the document alone."""
    return _files(_length_drawings(instrument, bodies, document, date))


def _files(drawings: Mapping[str, Drawing]) -> dict[str, bytes | str]:
    out: dict[str, bytes | str] = {}
    for name, drawing in drawings.items():
        out[f"pictures/{name}.png"] = pictures.picture_png(drawing, DPI)
        out[f"pictures/{name}.svg"] = pictures.picture_svg(drawing, name)
    return out


def _length_drawings(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    document: Mapping[str, Any],
    date: str,
) -> dict[str, Drawing]:
    out = {}
    for which in PLATES:
        stored = document["plates"][which]
        head = head_of(instrument, document, which, date)
        drawing = drawing_of(instrument, bodies[which], document, None)
        grid = drawing.thickness
        carved = np.where(np.array(stored["platform"], dtype=bool), np.nan, grid.values)
        scale = pictures.length_scale(GridMap(grid.x_mm, grid.y_mm, carved), head.units)
        out[f"{which}-thickness"] = pictures.thickness_picture(head, drawing, scale)
        for name, kind in (("joint", "all at once"), ("lone_spot", "one spot alone")):
            floor = map_from(stored[f"floor_{name}"])
            picture = pictures.floor_picture(head, drawing, floor, kind)
            out[f"{which}-floor-{name.replace('_', '-')}"] = picture
    return out


def _drawings(made: Decided, document: Mapping[str, Any], date: str) -> dict[str, Drawing]:
    out = {}
    for which in PLATES:
        plate, stored = made.plates[which], document["plates"][which]
        head = head_of(made.instrument, document, which, date)
        drawing = drawing_of(made.instrument, plate.body, document, None)
        out[f"{which}-reserve"] = pictures.reserve_picture(
            head, drawing, map_from(stored["reserve"])
        )
        out[f"{which}-slope"] = pictures.slope_picture(
            head, drawing, _slope(made, which, drawing.thickness)
        )
        heard = [TapTone(t.name, t.hz, t.motion) for t in plate.finished.tones]
        out[f"{which}-tap-tones"] = pictures.nodal_picture(head, drawing, heard)
    rows = worth_rows(document, made.instrument.workshop.units)
    if rows:
        legend = (say("doubt.legend_governs"), say("doubt.legend_zones"), say("doubt.legend_mass"))
        title = f"{made.instrument.name}: {say('doubt.picture')}"
        out["measure-first"] = worth_picture(title, legend, rows)
    out["verdicts"] = verdict_picture(
        f"{made.instrument.name}: verdicts against the reference band", _gauges(document)
    )
    return out


def _gauges(document: Mapping[str, Any]) -> list[Verdict]:
    """One gauge for each verdict of each plate; ticks at the ends of the band and at the
    average."""
    out = []
    for which in PLATES:
        for kind in KINDS:
            v = document["plates"][which]["verdicts"][kind]
            if v is None:
                continue
            band = {"least": v["band"][0], "average": 1.0, "greatest": v["band"][1]}
            spread = v["ratio"] * document["doubt"]["verdicts"][which][kind]["spread"]
            name = f"{kind}, {which}"
            out.append(Verdict(name, v["ratio"], v["limit"], band, spread, v["where"]))
    return out


def _slope(made: Decided, which: str, grid: GridMap) -> GridMap:
    body = made.plates["top" if which == "top" else "back"].body
    points = np.stack(np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij"), axis=-1)
    values = body.arching.slope_deg(points.reshape(-1, 2)).reshape(grid.values.shape)
    return GridMap(grid.x_mm, grid.y_mm, np.where(np.isfinite(grid.values), values, np.nan))
