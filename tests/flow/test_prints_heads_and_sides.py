"""Every page says what it is and which way it lies; a hole on one side stays on that side.

Which side is which follows from the body frame: bass is +y, the neck is +x; looking from inside
with the neck up, bass lies right on the top and left on the back; left-handed bodies are mirrored.
"""

import hashlib
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Literal
from xml.etree import ElementTree

import numpy as np
import pytest

from graduale.prints.bench import bench_sheets_pdf, drawing_png, drawing_svg
from graduale.prints.data import PageHead
from graduale.prints.holesheet import hole_sheet
from graduale.prints.maps import graduation_sheet
from graduale.prints.reasons import reasons_sheet
from graduale.prints.sheet import PlateSheet, Sheet
from graduale.prints.stagesheet import stage_sheet
from graduale.prints.testcard import scrap_card
from graduale.prints.views import bass_sign
from tests.flow.prints_readback import Page, pages, reader
from tests.flow.prints_samples import NARROW, REASONS, cuts, head, sample, tool

PlateName = Literal["top", "back"]
Seen = Literal["inside", "outside"]
BASS_ON_THE_RIGHT = [
    ("top", "inside", False, True),
    ("back", "inside", False, False),
    ("top", "outside", False, False),
    ("back", "outside", False, True),
    ("top", "inside", True, False),
    ("back", "inside", True, True),
]
SVG = "{http://www.w3.org/2000/svg}"


@cache
def bench(plate: PlateName) -> bytes:
    page = head(plate)
    drawn = sample(NARROW, plate)
    sheets: list[Sheet] = [graduation_sheet(page, drawn), hole_sheet(page, drawn)]
    sheets += [scrap_card(page, cuts(), tool()), stage_sheet(page, drawn)]
    return bench_sheets_pdf([*sheets, reasons_sheet(page, REASONS)], "A4")


@cache
def read(plate: PlateName) -> list[Page]:
    return pages(bench(plate))


@pytest.mark.parametrize("plate", ["top", "back"])
def test_every_page_carries_its_head(plate: PlateName) -> None:
    found = read(plate)
    for number, page in enumerate(found, start=1):
        for words in (
            "Narrow fiddle no. 1",
            f"{plate.upper()} plate, seen from the INSIDE",
            "2026-11-25",
            "decision 3fa9c1e207",
            f"page {number} of {len(found)}",
            "BASS",
            "TREBLE",
            "NECK",
            "100 mm across",
            "100 mm up",
        ):
            assert words in page.text, f"page {number} lacks {words!r}"
        assert "left-handed" not in page.text


def test_a_left_handed_body_says_so_on_every_page() -> None:
    page_head = head("back", left_handed=True)
    sheets = [
        graduation_sheet(page_head, sample(NARROW, "back")),
        reasons_sheet(page_head, REASONS),
    ]
    found = pages(bench_sheets_pdf(sheets, "Letter"))
    assert len(found) == 3
    assert all("left-handed" in page.text for page in found)


def test_every_font_is_embedded() -> None:
    for page in reader(bench("top")).pages:
        fonts = page["/Resources"]["/Font"]
        assert len(fonts) >= 1
        for name in fonts:
            descriptor = fonts[name].get_object()["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor, f"{name} is not embedded"


@pytest.mark.parametrize(("plate", "seen", "left_handed", "bass_right"), BASS_ON_THE_RIGHT)
def test_bass_lies_where_the_eye_sees_it(
    plate: PlateName, seen: Seen, left_handed: bool, bass_right: bool
) -> None:
    """The words at the head, and one lone hole 12 mm to the bass, in PDF and SVG."""
    page_head = head(plate, seen_from=seen, left_handed=left_handed)
    assert (bass_sign(page_head) > 0) == bass_right
    sheet = hole_sheet(page_head, sample(NARROW, plate, lone=True))
    found = pages(bench_sheets_pdf([sheet], "A4"))
    for page in found:
        bass = next(u for w, u, _ in page.words if re.fullmatch(r"◄ BASS|BASS ►", w.strip()))
        treble = next(u for w, u, _ in page.words if re.fullmatch(r"◄ TREBLE|TREBLE ►", w.strip()))
        assert (bass > treble) == bass_right
    offset = 12.0 if bass_right else -12.0
    assert _hole_in_pdf(found) == pytest.approx((offset, 96.0), abs=0.05)
    assert _hole_in_svg(sheet) == pytest.approx((offset, 96.0), abs=0.05)


def _hole_in_pdf(found: list[Page]) -> tuple[float, float]:
    """The cross-hair's middle, from the centre line and the lower end of the outline."""
    for page in found:
        arms = [s for s in page.lines(4.6, False) if s.width_mm < 0.16 and _in_plate(page, s)]
        if arms:
            outline = _outline(page)
            middle = arms[0].points.mean(axis=0)
            centre = (outline[:, 0].min() + outline[:, 0].max()) / 2
            return float(middle[0] - centre), float(middle[1] - outline[:, 1].min())
    raise AssertionError("no hole on any page")


def _outline(page: Page) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    return max((s for s in page.strokes if s.width_mm > 0.5), key=lambda s: s.size[1]).points


def _in_plate(page: Page, arm: object) -> bool:
    outline = _outline(page)
    u = arm.points[:, 0].mean()  # type: ignore[attr-defined]
    return bool(outline[:, 0].min() < u < outline[:, 0].max())


def _hole_in_svg(sheet: PlateSheet) -> tuple[float, float]:
    root = ElementTree.fromstring(drawing_svg(sheet))
    marks = [c for c in root.iter(f"{SVG}circle") if c.get("class") == "mark"]
    assert len(marks) == 1
    heavy = [p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "0.6"]
    numbers = re.findall(
        r"-?[\d.]+ -?[\d.]+", max(heavy, key=lambda p: len(p.get("d", ""))).get("d", "")
    )
    points = np.array([[float(n) for n in pair.split()] for pair in numbers])
    centre = (points[:, 0].min() + points[:, 0].max()) / 2
    u, y = float(marks[0].get("cx", "nan")), float(marks[0].get("cy", "nan"))
    return u - centre, float(points[:, 1].max()) - y


def test_same_sheets_same_bytes_in_another_process() -> None:
    code = (
        "import hashlib; from tests.flow.test_prints_heads_and_sides import bench;"
        "print(hashlib.sha256(bench('top')).hexdigest())"
    )
    for seed in ("4242",):
        run = subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"},
            cwd=Path(__file__).parents[2],
            capture_output=True,
            text=True,
            check=True,
        )
        assert run.stdout.strip() == hashlib.sha256(bench("top")).hexdigest()


def test_svg_has_its_size_in_mm_and_png_its_resolution() -> None:
    sheet = graduation_sheet(head(), sample(NARROW))
    root = ElementTree.fromstring(drawing_svg(sheet))
    assert root.get("width") == f"{sheet.drawing.width_mm:g}mm"
    assert root.get("viewBox", "").split()[2] == f"{sheet.drawing.width_mm:g}"
    picture = drawing_png(sheet, 100.0)
    assert picture.startswith(b"\x89PNG")
    width = int.from_bytes(picture[16:20], "big")
    assert width == round(sheet.drawing.width_mm / 25.4 * 100)


def test_head_and_drawing_of_different_plates_are_refused() -> None:
    with pytest.raises(ValueError, match="the drawing is of the back"):
        graduation_sheet(head("top"), sample(NARROW, "back"))


def test_a_strange_name_is_printed_as_text() -> None:
    """Marks that mean something in XML stay text; a very long name is cut, not run off."""
    page_head = PageHead("<b>&\"'é " + "x" * 200, "top", "inside", "2026-11-25", "0123abcd")
    sheet = reasons_sheet(page_head, REASONS)
    ElementTree.fromstring(drawing_svg(sheet))
    for page in pages(bench_sheets_pdf([sheet], "A4")):
        name = next(w for w, _, _ in page.words if w.startswith("<b>"))
        assert len(name.strip()) <= 40
