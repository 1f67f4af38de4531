"""Pictures of a judgement: thickness as read, its doubt; PNG and SVG."""

from collections.abc import Mapping
from typing import Any

from graduale.box.parts import bar_outline
from graduale.jobs.document import map_from
from graduale.jobs.drawings import feet_of
from graduale.jobs.judging import Judgement
from graduale.jobs.reference import PLATES
from graduale.prints import data, pictures
from graduale.prints.sheet import Drawing
from graduale.records.instrument import PlateName

DPI = 110.0
_TITLES = {
    "measured": "Thickness as read, square to the surface",
    "decided": "Thickness as decided (not measured)",
    "assumed": "Thickness ASSUMED (not measured)",
}


def pictures_of(made: Judgement, document: Mapping[str, Any], date: str) -> dict[str, bytes | str]:
    """Files by name."""
    out: dict[str, bytes | str] = {}
    for which in PLATES:
        for name, drawing in _drawings(made, document, which, date).items():
            out[f"pictures/{which}-{name}.png"] = pictures.picture_png(drawing, DPI)
            out[f"pictures/{which}-{name}.svg"] = pictures.picture_svg(drawing, f"{which}-{name}")
    return out


def _drawings(
    made: Judgement, document: Mapping[str, Any], which: PlateName, date: str
) -> dict[str, Drawing]:
    stored, inst = document["plates"][which], made.instrument
    head = data.PageHead(inst.name, which, "inside", date, document["digest"], inst.left_handed)
    plate = _drawing(made, document, which)
    title, notes = _TITLES[stored["known"]], _notes(stored)
    out = {
        "thickness": pictures.map_picture(head, plate, plate.thickness, title, "mm", notes=notes),
    }
    if "doubt" in stored:
        doubt = map_from(stored["doubt"])
        title = "Doubt of the thickness (one standard deviation)"
        out["doubt"] = pictures.map_picture(head, plate, doubt, title, "mm")
    return out


def _notes(stored: Mapping[str, Any]) -> list[str]:
    spots = stored["thin_spots"]
    return [f"{s['mm']:.1f} at x {s['x_mm']:.0f}, y {s['y_mm']:+.0f}: {s['do']}" for s in spots[:4]]


def _drawing(made: Judgement, document: Mapping[str, Any], which: PlateName) -> data.PlateDrawing:
    inst, body = made.instrument, made.plates[which].body
    top, post = which == "top", inst.post
    return data.PlateDrawing(
        plate=which,
        outline=body.outline.xy,
        thickness=map_from(document["plates"][which]["thickness"]),
        openings=body.openings,
        rib_line=body.outline.inset(inst.body.overhang_mm),
        platform_line=body.outline.inset(body.inside.platform_mm),
        bar=bar_outline(inst.bar) if top and inst.bar.present else None,
        post=data.Post(post.x_mm, post.y_mm, post.diameter_mm) if post.present else None,
        feet=feet_of(inst) if top else (),
    )
