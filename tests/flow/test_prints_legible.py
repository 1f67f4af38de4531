"""Labels keep off marks and off each other, letters are large enough, methods are kept apart.

Limits: 9 pt on bench sheets, settings 8 pt bold where crowded, small maps 8 pt; holes' names are
secondary and may be 6.5 pt.
"""

import io
from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
import pytest
from PIL import Image
from shapely import LineString

from graduale.base.arrays import Floats
from graduale.prints.data import HoleGroup, HoleMark, PlateDrawing
from graduale.prints.flow import heading, page_break, pages_of, paragraph, table
from graduale.prints.frame import page_of
from graduale.prints.holemarks import holes_with_settings, setting_words
from graduale.prints.holesheet import hole_sheet
from graduale.prints.lettering import width_mm, wrap
from graduale.prints.maps import graduation_sheet
from graduale.prints.marks import hole_mark
from graduale.prints.plates import line_geometry, outline_items, stand
from graduale.prints.png import png_of
from graduale.prints.sheet import Circle, Drawing, Path, PlateSheet, Text, bounds, flatten, overlap
from graduale.prints.sheet import Text as Words
from graduale.prints.stagesheet import stage_sheet
from tests.flow.prints_samples import NARROW, VIOLIN, groups_of, head, sample

PlateName = Literal["top", "back"]
CASES = [(NARROW, "top"), (NARROW, "back"), (VIOLIN, "top"), (VIOLIN, "back")]


@cache
def holes(size: tuple[float, float, float, float], plate: PlateName) -> PlateSheet:
    return hole_sheet(head(plate), sample(size, plate))


def crowded(pitch_mm: float) -> PlateDrawing:
    """The closest spacing of the trade on a narrow body, 8 mm along, shifted row by row."""
    plate = sample(NARROW, "back")
    marks = []
    for i, x in enumerate(np.arange(60.0, 150.0, pitch_mm)):
        for j, y in enumerate((-36.0, -24.0, -12.0, 8.0, 20.0, 32.0)):
            number = len(marks) + 1
            setting = f"{4 + 0.2 * ((i + j) % 5):.1f}"
            marks.append(
                HoleMark(
                    f"B{number}",
                    float(x),
                    y + 3.0 * (i % 2),
                    setting,
                    setting,
                    "rest",
                    "level",
                    9.0,
                    3.9,
                )
            )
    return replace(plate, holes=tuple(marks), groups=groups_of(tuple(marks)))


def spoilt(sheet: PlateSheet, tags: tuple[str, ...]) -> list[tuple[str, str]]:
    """Pairs of texts that share paper, and texts that lie on a mark."""
    items = list(flatten(sheet.drawing.items))
    texts = [(i.words, bounds(i)) for i in items if isinstance(i, Text) and i.tag in tags]
    marks = [("mark", bounds(i)) for i in items if isinstance(i, Path | Circle) and i.tag == "mark"]
    assert texts
    assert marks
    found = []
    for k, (words, box) in enumerate(texts):
        for other, taken in [*texts[k + 1 :], *marks]:
            if overlap(box, taken) > 0.05:
                found.append((words, other))
    return found


@pytest.mark.parametrize(("size", "plate"), CASES)
def test_no_setting_lies_on_a_hole_or_on_another(
    size: tuple[float, float, float, float], plate: PlateName
) -> None:
    assert spoilt(holes(size, plate), ("hole", "zone", "side")) == []


@pytest.mark.parametrize("pitch_mm", [8.0, 10.0])
def test_settings_stay_apart_at_the_closest_spacing(pitch_mm: float) -> None:
    assert spoilt(hole_sheet(head("back"), crowded(pitch_mm)), ("hole", "zone", "side")) == []


@pytest.mark.parametrize(("size", "plate"), CASES)
def test_no_station_is_covered(size: tuple[float, float, float, float], plate: PlateName) -> None:
    sheet = graduation_sheet(head(plate), sample(size, plate))
    assert spoilt(sheet, ("station", "level", "side")) == []


@pytest.mark.parametrize(("size", "plate"), CASES)
def test_all_text_of_a_hole_sheet_stands_on_the_paper(
    size: tuple[float, float, float, float], plate: PlateName
) -> None:
    drawing = holes(size, plate).drawing
    for item in flatten(drawing.items):
        if isinstance(item, Text):
            u0, v0, u1, v1 = bounds(item)
            assert min(u0, v0) > -0.5
            assert u1 < drawing.width_mm + 0.5
            assert v1 < drawing.height_mm + 0.5


@pytest.mark.parametrize(("size", "plate"), CASES)
def test_letters_are_large_enough(
    size: tuple[float, float, float, float], plate: PlateName
) -> None:
    names = {h.id for h in sample(size, plate).holes}
    sheets = [holes(size, plate), graduation_sheet(head(plate), sample(size, plate))]
    for sheet in sheets:
        key = [i for b in sheet.key for i in flatten(b.items)]
        for item in [*flatten(sheet.drawing.items), *key]:
            if not isinstance(item, Words):
                continue
            if item.words in names:
                assert item.size_pt >= 6.5
            elif item.tag == "hole":
                assert item.size_pt >= 8.0
                assert item.bold
            else:
                assert item.size_pt >= 9.0, item.words
    for block in stage_sheet(head(plate), sample(size, plate)).blocks:
        sizes = [i.size_pt for i in flatten(block.items) if isinstance(i, Text)]
        assert min(sizes, default=9.0) >= 8.0


def test_settings_of_different_methods_cannot_be_taken_for_each_other() -> None:
    """Four ways of drilling, one number: four different labels, all explained in the key."""
    plate = sample(NARROW, "back")
    ways = [("rest", "level"), ("rest", "tilted"), ("collar", "level"), ("collar", "tilted")]
    marks = tuple(
        HoleMark(f"B{k}", 100.0 + 15 * k, 20.0, "4.2", str(k), m, h, 5.0, 4.0)  # type: ignore[arg-type]
        for k, (m, h) in enumerate(ways)
    )
    assert len({setting_words(m) for m in marks}) == 4
    sheet = hole_sheet(head("back"), replace(plate, holes=marks, groups=groups_of(marks)))
    key = " ".join(i.words for b in sheet.key for i in flatten(b.items) if isinstance(i, Text))
    for words in ("Number alone: on the rest", "T: on the rest", "C: collar", "CT: collar"):
        assert words in key


def test_groups_stand_in_the_key_in_the_order_given() -> None:
    groups = tuple(
        HoleGroup(k, s, "rest", "level", "4 mm, flat", "flat", 3, 4.0, 4.4)
        for k, s in (("A", "5.2"), ("B", "4.9"), ("C", "4.4"))
    )
    sheet = hole_sheet(head("back"), replace(sample(NARROW, "back"), holes=(), groups=groups))
    texts = [i.words for b in sheet.key for i in flatten(b.items) if isinstance(i, Text)]
    assert [t for t in texts if t in ("5.2", "4.9", "4.4")] == ["5.2", "4.9", "4.4"]


def test_twenty_four_groups_have_marks_that_differ_in_print() -> None:
    """Each mark is drawn at 300 dpi; any two differ by 0.7 mm2 of black at least."""
    seen: list[Floats] = []
    for order in range(24):
        picture = png_of(Drawing(6.0, 6.0, hole_mark(3.0, 3.0, order)), 300.0)
        grey = np.asarray(Image.open(io.BytesIO(picture)).convert("L"), dtype=np.float64) / 255
        for other in seen:
            assert np.abs(grey - other).sum() * (25.4 / 300) ** 2 > 0.7
        seen.append(grey)


def test_wrapped_lines_fit_and_lose_no_word() -> None:
    words = "The plate is clamped at the tilt that is the slope of the outside at the hole."
    lines = wrap(words, 40.0, 9.0)
    assert " ".join(lines) == words
    assert max(width_mm(line, 9.0) for line in lines) <= 40.0


def test_text_pages_break_between_rows_and_never_after_a_heading() -> None:
    page = page_of("Letter", 1.0, 1.0)
    rows = [(f"place {k}", "3.0") for k in range(80)]
    blocks = [*table((("place", 60.0), ("mm", 20.0)), rows), heading("Next"), paragraph("Words.")]
    assert len(pages_of(blocks, page)) == 3
    assert len(pages_of([paragraph("a"), page_break(), paragraph("b")], page)) == 2
    filled = [paragraph("row")] * int(page.room[1] / paragraph("row").height_mm)
    last = pages_of([*filled[:-1], heading("Alone"), paragraph("with its words")], page)[-1]
    assert [i.words for i in flatten(last) if isinstance(i, Text)] == ["Alone", "with its words"]


def tilted_flank() -> PlateDrawing:
    """Two columns of tilted holes on the flanks at 10 mm, the outer ones near the outline."""
    marks = []
    for side in (1, -1):
        for k in range(9):
            for y, hold in ((19.0, "tilted"), (10.0, "level")):
                name = f"B{len(marks) + 1}"
                tilt = 27.0 if hold == "tilted" else 0.0
                marks.append(
                    HoleMark(
                        name, 130.0 + 10 * k, side * y, "4.2", hold, "rest", hold, tilt, 4.0,  # type: ignore[arg-type]
                        tilt, 90.0 * side,
                    )
                )  # fmt: skip
    plate = sample(NARROW, "back")
    return replace(plate, holes=tuple(marks), groups=groups_of(tuple(marks)), zones=())


@pytest.mark.parametrize(
    "plate", [sample(NARROW, "top"), sample(VIOLIN, "back"), crowded(8.0), tilted_flank()]
)
def test_no_setting_can_be_read_as_another_holes(plate: PlateDrawing) -> None:
    """The hole nearest to a label is its own, or a leader runs from the label to its own hole."""
    at = stand(head(plate.plate), plate)
    _, placed = holes_with_settings(at, [], line_geometry(outline_items(at)))
    spots = np.array([at.view.point(h.x_mm, h.y_mm) for h in plate.holes])
    led = 0
    for k, p in enumerate(placed):
        own = spots[k]
        assert (p.label.u, p.label.v) == pytest.approx(tuple(own))
        if p.leader is not None:
            assert np.hypot(*(np.array(p.leader[0]) - own)) < 4.0
            led += 1
            continue
        away = np.maximum(np.array(p.box[:2]) - spots, spots - np.array(p.box[2:]))
        assert int(np.argmin(np.hypot(*np.maximum(away, 0.0).T))) == k, p.label.lines[1].words
    assert led <= 0.1 * len(placed)


@pytest.mark.parametrize(("across_mm", "named"), [(16.0, True), (8.4, False)])
def test_a_plate_held_tilted_throughout_has_no_long_or_crossing_leaders(
    across_mm: float, named: bool
) -> None:
    """Rows at 10 mm of holes that all tilt outward; where they stand too close for numbers and
    tilts beside them, the settings alone stand there and the key says where the rest is."""
    ys = np.arange(across_mm / 2, 34.0, across_mm)
    marks = tuple(
        HoleMark(
            f"B{20 * k + j}", 60.0 + 10.0 * k, float(side * y), "3.4", "A", "rest", "tilted", 15.0,
            3.4, 15.0, 90.0 * side,
        )
        for k in range(9)
        for j, (side, y) in enumerate((s, y) for s in (1, -1) for y in ys)
    )  # fmt: skip
    plate = replace(sample(NARROW, "back"), holes=marks, groups=groups_of(marks), zones=())
    at = stand(head("back"), plate)
    _, placed = holes_with_settings(at, [], line_geometry(outline_items(at)))
    ways = [LineString(p.leader) for p in placed if p.leader is not None]
    assert max((w.length for w in ways), default=0.0) <= 7.0
    assert not any(a.intersects(b) for k, a in enumerate(ways) for b in ways[:k])
    assert {len(p.label.lines) == 2 for p in placed} == {named}
    told = " ".join(
        i.words
        for b in hole_sheet(head("back"), plate).key
        for i in flatten(b.items)
        if isinstance(i, Text)
    )
    assert ("numbers and tilts are in the hole" in told) == (not named)


@pytest.mark.parametrize(("plate_name", "sign"), [("top", 1.0), ("back", -1.0)])
def test_the_arrow_of_a_tilted_hole_points_to_the_side_that_goes_down(
    plate_name: PlateName, sign: float
) -> None:
    """Toward the bass (azimuth 90): right on the top seen from inside, left on the back."""
    hole = HoleMark("X1", 160.0, 12.0, "4.2", "A", "rest", "tilted", 27.0, 4.0, 27.0, 90.0)
    plate = replace(sample(NARROW, plate_name), holes=(hole,), zones=(), groups=groups_of((hole,)))
    at = stand(head(plate_name), plate)
    items, placed = holes_with_settings(at, [], [])
    arrow = next(
        i for i in items if isinstance(i, Path) and len(i.rings) == 2 and len(i.rings[1]) == 3
    )
    start, tip = arrow.rings[0]
    assert (tip[0] - start[0]) * sign > 1.0
    assert tip[1] == pytest.approx(start[1], abs=1e-6)
    assert "27°" in placed[0].label.lines[-1].words.split()
