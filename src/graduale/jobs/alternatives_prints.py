"""alternatives.json -> one picture (PNG, SVG) and one page (PDF, both papers)."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from graduale.base.arrays import GridMap
from graduale.box.parts import bar_outline
from graduale.box.plate import PlateBody, plate_bodies
from graduale.geometry.grid import plate_grid
from graduale.jobs.alternatives_document import name_of, reserve_words
from graduale.jobs.alternatives_solve import RESERVES
from graduale.jobs.reference import PLATES
from graduale.prints.alternatives import (
    Board,
    MapCell,
    Row,
    alternatives_pages,
    alternatives_picture,
    plain,
)
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.figures import UNIT_NAMES, figure, short_unit, shown
from graduale.prints.frame import PAPERS, Paper, page_of
from graduale.prints.pdf import drawings_pdf
from graduale.prints.pictures import picture_png, picture_svg
from graduale.prints.shades import Scale, scale_of
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.carried import as_it_is
from graduale.thickness.field import ZONES, Layout, layout_of
from graduale.words.catalogue import say
from graduale.words.numbers import Units

DPI = 150.0
_GRID_MM = 4.0
_NUDGE_MM = 0.005  # an even zone on the edge of a band is drawn as one, not as specks of two
_PAPERS: tuple[Paper, ...] = ("A4", "Letter")
_WITH_MAP = ("decision", "maps", "schools", "wanted", "lightest")


def files_of(found: Mapping[str, Any], instrument: Instrument, date: str) -> dict[str, bytes | str]:
    """Picture and pages by file name."""
    board = board_of(found, instrument, date)
    picture = alternatives_picture(board)
    out: dict[str, bytes | str] = {
        "alternatives.png": picture_png(picture, DPI),
        "alternatives.svg": picture_svg(picture, "alternatives"),
    }
    shop = instrument.workshop
    for paper in _PAPERS:
        pages = alternatives_pages(board, page_of(paper, shop.printer_x, shop.printer_y))
        title = f"{instrument.name}: {board.title}"
        subject = f"decision {found['decision_digest']}, {date}, {paper}"
        out[f"alternatives-{paper}.pdf"] = drawings_pdf(
            pages, title, subject, shop.printer_x, shop.printer_y
        )
    return out


def board_of(found: Mapping[str, Any], instrument: Instrument, date: str) -> Board:
    """What picture and page show."""
    units = instrument.workshop.units
    first = found["alternatives"][0]
    name = instrument.name if first["safe"] else f"NOT SAFE · {instrument.name}"
    heads = [
        PageHead(name, w, "inside", date, found["decision_digest"], instrument.left_handed, units)
        for w in PLATES
    ]
    bodies = plate_bodies(instrument)
    layouts = {w: layout_of(instrument, bodies[w]) for w in PLATES}
    maps = [
        _cell(row, instrument, bodies, layouts, units)
        for row in found["alternatives"]
        if row["group"] in _WITH_MAP and row["clash"] is None
    ]
    return Board(
        (heads[0], heads[1]),
        say("alternatives.beside"),
        _scale(maps, layouts, units),
        tuple(maps),
        _all_rows(found, units),
        tuple(say(f"alternatives.lane.{k.replace(' ', '-')}") for k in RESERVES),
        (say("alternatives.picture_note"), say("alternatives.estimate")),
        (
            say("alternatives.maps_head"),
            say("alternatives.bars_head"),
            say("alternatives.mass_head"),
            say("alternatives.sag_head", unit=short_unit(units)),
        ),
        say("alternatives.not_safe"),
    )


def _cell(
    row: Mapping[str, Any],
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
    units: Units,
) -> MapCell:
    top, back = (_drawing(row, instrument, bodies[w], layouts[w]) for w in PLATES)
    return MapCell(name_of(row, units), top, back, bool(row["safe"]))


def _drawing(
    row: Mapping[str, Any], instrument: Instrument, body: PlateBody, layout: Layout
) -> PlateDrawing:
    zones = np.array([row["zones_mm"][body.which][n] for n in ZONES])
    used = as_it_is(layout) if row["least_imposed"] is False else layout
    grid = plate_grid(body.outline, _GRID_MM)
    bar = instrument.bar.present and body.which == "top"
    return PlateDrawing(
        body.which,
        plain(body.outline.xy),
        grid.map_of(used.at(zones)(grid.points) + _NUDGE_MM),
        openings=tuple(plain(ring) for ring in body.openings),
        platform_line=plain(body.outline.inset(body.inside.platform_mm)),
        bar=bar_outline(instrument.bar) if bar else None,
    )


def _scale(maps: list[MapCell], layouts: Mapping[PlateName, Layout], units: Units) -> Scale:
    """One scale for the carved part of all maps."""
    values = []
    for cell in maps:
        for plate in (cell.top, cell.back):
            grid = shown(plate.thickness, units)
            points = np.stack(np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij"), axis=-1)
            seat = layouts[plate.plate].basis(points.reshape(-1, 2)).seat.reshape(grid.values.shape)
            values.append(np.where(seat, np.nan, grid.values).ravel())
    every = np.concatenate(values)
    return scale_of(
        GridMap(np.arange(float(len(every))), np.zeros(1), every[:, None]), UNIT_NAMES[units]
    )


def _all_rows(found: Mapping[str, Any], units: Units) -> tuple[Row, ...]:
    out: list[Row] = []
    group = ""
    for row in found["alternatives"]:
        rows = _rows(row, units)
        kind = "maps" if row["group"] in _WITH_MAP[1:] else row["group"]
        out += [replace(rows[0], begins=kind != group and bool(group)), *rows[1:]]
        group = kind
    return tuple(out)


def _rows(row: Mapping[str, Any], units: Units) -> list[Row]:
    name = name_of(row, units)
    if row["clash"] is not None:
        why = str(row["clash"]).partition(";")[0]
        return [Row(name, note=f"{say('alternatives.no_fit')}: {why}")]
    out = [_bars(row, name, units, first=row["key"] == "decision")]
    if row["redecided"] is not None:
        told = say("alternatives.decided_anew")
        out.append(_bars(row["redecided"], told, units, indented=True))
    return out


def _bars(
    of: Mapping[str, Any], name: str, units: Units, *, first: bool = False, indented: bool = False
) -> Row:
    sag = float(of["sag_mm"]["bass"]["at_once"])
    return Row(
        name,
        first,
        indented=indented,
        top_g=float(of["mass_g"]["top"]),
        back_g=float(of["mass_g"]["back"]),
        sag_mm=sag,
        sag=figure(sag, units, 2),
        reserves=tuple(of["reserves"][k] for k in RESERVES),
        figures=tuple(reserve_words(of["reserves"][k]) for k in RESERVES),
        safe=bool(of["safe"]),
    )


__all__ = ["PAPERS", "board_of", "files_of"]
