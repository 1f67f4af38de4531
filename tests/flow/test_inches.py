"""Inches on request: every figure on paper changes its unit, no drawing changes its size.

The inch is 25.4 mm by definition (agreement of 1959). mm stays the default.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

from graduale.base.arrays import Floats
from graduale.jobs.drawings import setting_text
from graduale.jobs.earlier import read_earlier
from graduale.jobs.overrides import with_workshop
from graduale.jobs.summary import summary
from graduale.prints.bench import bench_sheets_pdf, drawing_svg
from graduale.prints.data import PageHead, PlateDrawing
from graduale.prints.figures import figure, level_words
from graduale.prints.holesheet import hole_sheet
from graduale.prints.maps import graduation_sheet
from graduale.prints.pictures import floor_picture, length_scale, thickness_picture
from graduale.prints.plates import stand
from graduale.prints.reasons import reasons_sheet
from graduale.prints.sheet import PlateSheet, Sheet, Text, TextSheet, flatten
from graduale.prints.stagesheet import stage_sheet
from graduale.prints.testcard import scrap_card
from graduale.words.numbers import Units
from tests.flow.prints_readback import Page, Stroke, pages
from tests.flow.prints_samples import NARROW, REASONS, cuts, groups_of, head, sample, tool

INCH_MM = 25.4
UNITS: tuple[Units, Units] = ("mm", "inch")
Method = Literal["rest", "collar"]


@cache
def plate(units: Units) -> PlateDrawing:
    """The sample with its settings written as the sheets write them."""
    one = sample(NARROW, "back")
    holes = tuple(
        replace(h, setting=setting_text(float(h.setting), h.method, units)) for h in one.holes
    )
    bit = "4 mm" if units == "mm" else "0.157 in"
    groups = tuple(replace(g, bit=bit) for g in groups_of(holes))
    return replace(one, holes=holes, groups=groups)


def page_head(units: Units) -> PageHead:
    return head("back", units=units)


@cache
def drawn(units: Units) -> tuple[PlateSheet, PlateSheet]:
    """Hole sheet and graduation map."""
    return hole_sheet(page_head(units), plate(units)), graduation_sheet(
        page_head(units), plate(units)
    )


@cache
def printed(units: Units) -> tuple[Page, ...]:
    one = page_head(units)
    card, stages = scrap_card(one, cuts(), tool()), stage_sheet(one, plate(units))
    sheets: list[Sheet] = [card, *drawn(units), stages, reasons_sheet(one, REASONS)]
    return tuple(pages(bench_sheets_pdf(sheets)))


def words(sheet: Sheet) -> list[str]:
    """Every text of a sheet, its key too."""
    blocks = sheet.blocks if isinstance(sheet, TextSheet) else sheet.key
    items = [i for b in blocks for i in b.items]
    items += sheet.drawing.items if isinstance(sheet, PlateSheet) else ()
    return [i.words for i in flatten(tuple(items)) if isinstance(i, Text)]


@pytest.mark.parametrize(
    ("setting_mm", "method", "step_mm", "expected"),
    [
        (4.6, "rest", 0.1, "0.182"),  # 0.18110
        (4.6, "collar", 0.1, "0.181"),
        (4.572, "rest", 0.1, "0.180"),  # 0.18 exactly
        (4.572, "collar", 0.1, "0.180"),
        (4.318, "rest", 0.254, "0.17"),  # a step of 0.01 in
        (4.4, "rest", 0.254, "0.18"),  # 0.17323
        (4.4, "collar", 0.254, "0.17"),
        (4.191, "rest", 0.127, "0.165"),  # a step of 0.005 in
        (3.571875, "rest", 0.396875, "0.141"),  # 9/64 in, a step of 1/64 in: 0.140625
        (3.571875, "collar", 0.396875, "0.140"),
    ],
)
def test_a_setting_is_rounded_so_as_to_leave_more(
    setting_mm: float, method: Method, step_mm: float, expected: str
) -> None:
    assert setting_text(setting_mm, method, "inch", step_mm) == expected


@pytest.mark.parametrize("method", ["rest", "collar"])
@pytest.mark.parametrize("step_mm", [0.02, 0.05, 0.1, 0.127, 0.2, 0.25, 0.254, 0.5])
def test_no_setting_leaves_less_nor_more_than_a_step(method: Method, step_mm: float) -> None:
    for k in range(1, 120):
        setting_mm = k * step_mm
        leaves_more = float(setting_text(setting_mm, method, "inch", step_mm)) * INCH_MM
        leaves_more -= setting_mm
        leaves_more *= 1 if method == "rest" else -1
        assert -1e-5 < leaves_more < step_mm


def test_settings_in_mm_are_as_before() -> None:
    assert PageHead("n", "top", "inside", "2026-11-25", "d").units == "mm"
    assert setting_text(4.6, "rest") == "4.6"
    assert setting_text(4.625, "rest", "mm", 0.1) == "4.63"
    assert setting_text(4.625, "collar") == "4.62"


def test_figures_in_inches() -> None:
    """3.2 mm is 0.12598 in."""
    assert figure(3.2, "inch") == "0.126"
    assert figure(3.2, "mm") == "3.2"
    assert [level_words(v * INCH_MM, "inch") for v in (0.1, 0.12, 0.125)] == [
        "0.10",
        "0.12",
        "0.125",
    ]
    assert [level_words(v, "mm") for v in (2.25, 2.5, 3.0)] == ["2.25", "2.5", "3.0"]


def test_every_page_says_inches_and_no_mm_page_does() -> None:
    assert all("inches" in p.text for p in printed("inch"))
    for page in printed("mm"):
        assert "inch" not in page.text
    for page in printed("inch")[:-1]:  # the last is the sample's own page of reasons
        assert page.text.count(" mm") == page.text.count("100 mm = 3.937 in") == 2


@pytest.mark.parametrize("sheet", [0, 1])
def test_the_whole_drawing_says_inches(sheet: int) -> None:
    assert "in inches" in drawing_svg(drawn("inch")[sheet])
    assert "inch" not in drawing_svg(drawn("mm")[sheet])


def heavy(page: Page) -> list[Stroke]:
    return [s for s in page.strokes if s.closed and s.width_mm > 0.4 and len(s.points) > 100]


def test_drawings_and_scale_stay_at_true_size() -> None:
    """The plate is 320 mm long; the bars are 100 mm in both units."""
    for units in UNITS:
        outlines = [s for p in printed(units) for s in heavy(p)]
        assert max(s.size[1] for s in outlines) == pytest.approx(320.0, abs=0.02)
        for page in printed(units):
            for upright in (False, True):
                bars = [s for s in page.lines(100.0, upright) if s.width_mm < 0.3]
                assert [b.size[int(upright)] for b in bars] == [pytest.approx(100.0, abs=0.01)]


def test_each_hole_has_its_setting_in_inches() -> None:
    told = words(drawn("inch")[0])
    for in_mm, in_inch in zip(plate("mm").holes, plate("inch").holes, strict=True):
        rest_mm = float(in_mm.setting)
        assert rest_mm - 1e-6 <= float(in_inch.setting) * INCH_MM < rest_mm + 0.001 * INCH_MM
        beside = in_inch.setting.removeprefix("0")
        assert (beside if in_inch.hold == "level" else f"T {beside}") in told
    low, high = plate("mm").groups[0].leaves_min_mm, plate("mm").groups[0].leaves_max_mm
    assert f"leaves {low / INCH_MM:.3f}–{high / INCH_MM:.3f}" in told
    assert "Settings in inches." in " ".join(told)


def test_level_lines_lie_where_their_number_says() -> None:
    """Numbers are hundredths of an inch, of one line each; the map is read where they stand."""
    sheet, at = drawn("inch")[1], stand(page_head("inch"), plate("inch"))
    numbers = [i for i in flatten(sheet.drawing.items) if isinstance(i, Text) and i.tag == "level"]
    assert len({i.words for i in numbers}) >= 4
    for i in numbers:
        inches = float(i.words)
        assert inches == pytest.approx(round(inches, 2), abs=1e-9)
        assert _thickness(at.plate, *_body(at.view.point(0.0, 0.0), at.view.sign, i)) == (
            pytest.approx(inches * INCH_MM, abs=0.05)
        )


def _body(origin: tuple[float, float], sign: int, text: Text) -> tuple[float, float]:
    """x and y of the middle of a number's letters: they stand as high as 0.72 of their size."""
    up, turn = 0.36 * text.size_pt * INCH_MM / 72.0, np.radians(text.angle_deg)
    u, v = text.u - up * np.sin(turn), text.v + up * np.cos(turn)
    return float(v - origin[1]), float(sign * (u - origin[0]))


def _thickness(one: PlateDrawing, x_mm: float, y_mm: float) -> float:
    at: Floats = one.thickness.at(np.array([(x_mm, y_mm)]))
    return float(at[0])


def test_stations_stages_and_key_are_in_inches() -> None:
    told = words(drawn("inch")[1])
    for station in plate("inch").stations:
        assert told.count(f"{station.value_mm / INCH_MM:.3f}") >= 2  # on the map and in the key
    stages = words(stage_sheet(page_head("inch"), plate("inch")))
    centre = plate("inch").stations[0]
    for stage in plate("inch").stages:
        left = float(stage.leave.at(np.array([(centre.x_mm, centre.y_mm)]))[0])
        assert f"{left / INCH_MM:.3f}" in stages
        assert f"± {stage.scatter_mm / INCH_MM:.3f}" in stages
    assert any("a level line each 0.02 in" in w for w in stages)


def test_the_card_is_in_inches() -> None:
    """Bit 4 mm, rest tip 5 mm, step 0.1 mm; lines leave 4.9 ± 0.1 mm and so on."""
    told = words(scrap_card(page_head("inch"), cuts(), tool()))
    text = " ".join(told)
    assert "Bit 0.157 in" in text
    assert "radius 0.197 in" in text
    assert "read to 0.004 in" in text
    for cut in cuts():
        assert f"{cut.expect_mm / INCH_MM:.3f} ± {cut.tolerance_mm / INCH_MM:.3f}" in text
    assert f"leaves {4.3 / INCH_MM:.3f}" in told  # the steepest on the rest
    assert " mm" not in text


def test_pictures_show_inches_and_never_mix_units() -> None:
    one = plate("inch")
    scale = length_scale(one.thickness, "inch")
    low, high = np.nanmin(one.thickness.values), np.nanmax(one.thickness.values)
    assert scale.edges[0] * INCH_MM <= low < high <= scale.edges[-1] * INCH_MM
    for picture in (
        thickness_picture(page_head("inch"), one),
        floor_picture(page_head("inch"), one, one.thickness, "joint"),
        thickness_picture(page_head("mm"), one, scale),
    ):
        told = [i.words for i in flatten(picture.items) if isinstance(i, Text)]
        assert "in inches" in told
        assert set(scale.words()) <= set(told)
    by_mm = thickness_picture(page_head("inch"), one, length_scale(one.thickness, "mm"))
    assert by_mm.items == thickness_picture(page_head("mm"), one).items


def test_the_summary_is_in_inches(decided_folder: Path) -> None:
    """The decision's document keeps its mm; the text of it does not show one."""
    earlier = read_earlier(decided_folder)
    inches = with_workshop(earlier.instrument, {"units": "inch"})
    told = summary(earlier.document, inches, "out", "sheets-A4.pdf")
    in_mm = summary(earlier.document, earlier.instrument, "out", "sheets-A4.pdf")
    centre = earlier.document["plates"]["back"]["summary_mm"]["centre"]
    row = next(line for line in told.splitlines() if line.startswith("back  "))
    assert row.split()[1] == f"{centre / INCH_MM:.3f}"
    sag = earlier.document["setup"]["sag_mm"]["bass"]["at_once"]
    assert f"sag: bass foot {sag / INCH_MM:.4f} in at once" in told
    assert " mm" not in told.replace("100 mm scales", "")
    assert " in at once" not in in_mm
