"""Bench sheets read back from the PDF: true size, scales, joining, paper, printer correction.

Expected lengths are those of the plate that was put in; 100 mm is 100 mm; A4 is 210 × 297 mm
(ISO 216), Letter 8.5 × 11 inches (ANSI Y14.1).
"""

import subprocess
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from graduale.base.arrays import Floats
from graduale.prints.bench import bench_sheets_pdf
from graduale.prints.frame import Paper
from graduale.prints.holesheet import hole_sheet
from graduale.prints.maps import graduation_sheet
from graduale.prints.reasons import reasons_sheet
from graduale.prints.sheet import Drawing, PlateSheet, Sheet, line, ring
from graduale.prints.stagesheet import stage_sheet
from graduale.prints.testcard import scrap_card
from tests.flow.prints_readback import MM, Page, Stroke, pages, reader
from tests.flow.prints_samples import NARROW, REASONS, VIOLIN, cuts, head, sample, tool

SIZES = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11.0 * 25.4)}
PAPERS: tuple[Paper, ...] = ("A4", "Letter")


@cache
def holes_of(size: tuple[float, float, float, float]) -> PlateSheet:
    return hole_sheet(head("top"), sample(size))


@cache
def all_sheets() -> tuple[Sheet, ...]:
    plate = sample(NARROW, "top")
    page = head("top")
    drawn = (graduation_sheet(page, plate), holes_of(NARROW))
    return (*drawn, scrap_card(page, cuts(), tool()), stage_sheet(page, plate), reasons())


def reasons() -> Sheet:
    return reasons_sheet(head("top"), REASONS)


def outline_of(page: Page, long_mm: float) -> Stroke:
    """The plate's outline: the tallest closed path drawn with a heavy line."""
    heavy = [s for s in page.strokes if s.closed and s.width_mm > 0.4 and len(s.points) > 100]
    found = max(heavy, key=lambda s: s.size[1])
    assert abs(found.size[1] - long_mm) < 30
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_the_scale_is_100_mm_both_ways_on_every_page(paper: Paper) -> None:
    found = pages(bench_sheets_pdf(all_sheets(), paper))
    assert len(found) == 8
    for page in found:
        for upright in (False, True):
            bars = [s for s in page.lines(100.0, upright) if s.width_mm < 0.3]
            assert len(bars) == 1
            assert bars[0].size[int(upright)] == pytest.approx(100.0, abs=0.01)


def test_the_scale_measures_100_mm_on_the_printed_picture(tmp_path: Path) -> None:
    """Rasterised by an independent program (poppler) at 600 dpi; ± 0.1 mm is 2.4 pixels."""
    pdf = bench_sheets_pdf([reasons()], "A4")
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", "600", "-gray", str(tmp_path / "sheet.pdf"), str(tmp_path / "p")]
    subprocess.run(command, check=True)
    pixels = np.asarray(Image.open(next(tmp_path.glob("p*.pgm")))) < 128
    across = max(_longest_run(row) for row in pixels[-1000:])
    up = max(_longest_run(column) for column in pixels.T[:600])
    width = 0.2 / 25.4 * 600  # half a line's width is added at both ends by the end ticks
    assert (across - width) * 25.4 / 600 == pytest.approx(100.0, abs=0.1)
    assert (up - width) * 25.4 / 600 == pytest.approx(100.0, abs=0.1)


def _longest_run(row: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return int(np.max(edges[1::2] - edges[::2])) if len(edges) else 0


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("size", "count"), [(NARROW, 2), (VIOLIN, 4)])
def test_pages_have_the_size_of_the_paper_and_no_more_pages_than_needed(
    paper: Paper, size: tuple[float, float, float, float], count: int
) -> None:
    document = reader(bench_sheets_pdf([holes_of(size)], paper))
    assert len(document.pages) == count
    for page in document.pages:
        got = (float(page.mediabox.width) * MM, float(page.mediabox.height) * MM)
        assert got == pytest.approx(SIZES[paper], abs=0.01)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("size", [NARROW, VIOLIN])
def test_the_joined_pages_give_the_plate_at_true_size(
    paper: Paper, size: tuple[float, float, float, float]
) -> None:
    """Put together by their outlines, the windows of the pages cover the plate with overlap, and
    each joining mark falls on its twin."""
    plate = sample(size, "back")
    wide, long = np.ptp(plate.outline[:, 1]), np.ptp(plate.outline[:, 0])
    windows: list[tuple[float, ...]] = []
    marks: dict[str, list[Floats]] = {}
    for page in pages(bench_sheets_pdf([graduation_sheet(head("back"), plate)], paper)):
        outline = outline_of(page, long)
        assert outline.size == pytest.approx((wide, long), abs=0.05)
        origin = outline.points.min(axis=0)
        clip = page.clips[0] - origin
        windows.append((*clip.min(axis=0), *clip.max(axis=0)))
        for letter in "ABCDEFGH":
            try:
                at = np.array(page.place(letter)) - origin
            except KeyError:
                continue
            marks.setdefault(letter, []).append(at)
    assert _covered(windows, wide, long)
    assert len(marks) >= 2
    for twins in marks.values():
        assert len(twins) >= 2
        assert np.ptp(np.array(twins), axis=0).max() < 0.02


def _covered(windows: list[tuple[float, ...]], wide: float, long: float) -> bool:
    us, vs = np.meshgrid(np.linspace(0, wide, 60), np.linspace(0, long, 60))
    seen = np.zeros(us.shape, dtype=int)
    for u0, v0, u1, v1 in windows:
        seen += (us >= u0) & (us <= u1) & (vs >= v0) & (vs <= v1)
    return bool(seen.min() >= 1 and seen.max() >= 2)


@pytest.mark.parametrize(("across", "up"), [(0.985, 1.012), (1.02, 0.97), (1.0048, 1.0)])
def test_a_corrected_sheet_comes_out_true_on_that_printer(across: float, up: float) -> None:
    plate = sample(NARROW)
    pdf = bench_sheets_pdf([graduation_sheet(head(), plate)], "A4", across, up)
    document = reader(pdf)
    assert float(document.pages[0].mediabox.width) * MM == pytest.approx(210.0, abs=0.01)
    for page in pages(pdf):
        for s in page.strokes:
            s.points = s.points * np.array([across, up])  # what this printer makes of it
        assert len(page.lines(100.0, False, 0.01)) == 1
        assert len(page.lines(100.0, True, 0.01)) == 1
        wide = np.ptp(plate.outline[:, 1])
        assert outline_of(page, 320.0).size == pytest.approx((wide, 320.0), abs=0.05)
        assert f"{across:.4f} across" in page.text


@pytest.mark.parametrize("wrong", [0.5, 0.0, 98.5, float("nan")])
def test_an_absurd_correction_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="printer correction"):
        bench_sheets_pdf(all_sheets()[-1:], "A4", wrong, 1.0)


def test_a_blank_tile_is_not_printed() -> None:
    """Two strokes in two opposite corners of a large drawing: two of four pages stay away."""
    low = line(ring([(5.0, 5.0), (60.0, 60.0)]))
    high = line(ring([(240.0, 330.0), (300.0, 395.0)]))
    sheet = PlateSheet(head(), "corners", Drawing(305.0, 400.0, (low, high)))
    found = pages(bench_sheets_pdf([sheet], "A4"))
    assert len(found) == 2
    assert "row 1 of 2, column 2 of 2" in found[0].text
    assert "row 2 of 2, column 1 of 2" in found[1].text


def test_unknown_paper_and_no_sheets_are_refused() -> None:
    with pytest.raises(ValueError, match="unknown paper"):
        bench_sheets_pdf([reasons()], "A5")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="no sheets"):
        bench_sheets_pdf([], "A4")
