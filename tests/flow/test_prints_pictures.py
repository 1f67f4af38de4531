"""Pictures and drawings held against plain geometry: bands, level lines, node lines, test card."""

from dataclasses import replace
from math import cos, radians, sin, tan
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from shapely import Polygon

from graduale.base.arrays import GridMap
from graduale.prints.bands import bands, level_lines, levels_between, plate_area
from graduale.prints.data import ScrapCut, TapTone, Tool, Verdict
from graduale.prints.gauges import verdict_picture
from graduale.prints.hatch import even_odd
from graduale.prints.pictures import (
    nodal_picture,
    picture_png,
    picture_svg,
    reserve_picture,
    slope_picture,
    thickness_picture,
)
from graduale.prints.shades import VIRIDIS, scale_of
from graduale.prints.sheet import Drawing, Path, Text, flatten
from graduale.prints.testcard import Section
from tests.flow.prints_samples import NARROW, head, sample

SVG = "{http://www.w3.org/2000/svg}"


def ramp(low: float, high: float) -> GridMap:
    """A map that rises evenly along x from 0 to 300 over a plate 100 wide."""
    x, y = np.arange(0.0, 301.0, 2.0), np.arange(-50.0, 51.0, 2.0)
    values = np.repeat((low + (high - low) * x / 300.0)[:, None], len(y), axis=1)
    return GridMap(x, y, values)


def block() -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    return np.array([(0.0, -50.0), (300.0, -50.0), (300.0, 50.0), (0.0, 50.0)])


def words(picture: Drawing) -> list[str]:
    return [i.words for i in flatten(picture.items) if isinstance(i, Text)]


def test_level_lines_of_a_ramp_stand_where_arithmetic_puts_them() -> None:
    """t = 2 + x/300: the level 2.25 is the line x = 75 across the whole width."""
    found = level_lines(ramp(2.0, 3.0), (2.25, 2.5), plate_area(block()))
    for level, x in ((2.25, 75.0), (2.5, 150.0)):
        (line,) = found[level]
        assert line[:, 0] == pytest.approx(x, abs=0.05)
        assert np.ptp(line[:, 1]) == pytest.approx(100.0, abs=0.01)


def test_levels_are_the_multiples_strictly_inside_the_range() -> None:
    assert levels_between(ramp(2.0, 3.1), 0.25) == (2.25, 2.5, 2.75, 3.0)


def test_level_lines_of_a_curved_map_have_their_value_and_stay_on_the_plate() -> None:
    plate = sample(NARROW, "top")
    area = plate_area(plate.outline, plate.openings)
    for level, lines in level_lines(plate.thickness, (2.25, 2.5, 3.0), area).items():
        assert lines
        for line in lines:
            assert np.nanmax(np.abs(plate.thickness.at(line) - level)) < 0.06
            assert shapely.contains_xy(area.buffer(0.1), line).all()


def test_bands_cover_the_plate_once_and_leave_the_openings_free() -> None:
    plate = sample(NARROW, "top")
    area = plate_area(plate.outline, plate.openings)
    scale = scale_of(plate.thickness, "mm")
    pieces = [even_odd(rings) for rings in bands(plate.thickness, scale.edges, area) if rings]
    assert sum(p.area for p in pieces) == pytest.approx(area.area, rel=2e-3)
    for opening in plate.openings:
        hole = Polygon(opening).buffer(-0.3)
        assert sum(p.intersection(hole).area for p in pieces) < 0.01


def test_a_band_of_a_ramp_has_its_share_of_the_area() -> None:
    """Eight bands over an even rise: an eighth of 300 × 100 each."""
    edges = tuple(2.0 + k / 8 for k in range(9))
    for rings in bands(ramp(2.0, 3.0), edges, plate_area(block())):
        assert even_odd(rings).area == pytest.approx(3750.0, rel=2e-3)


@pytest.mark.parametrize(
    ("low", "high"), [(2.0, 3.0), (2.05, 4.21), (0.0, 32.0), (0.31, 0.33), (-1.0, 40.0), (2.0, 2.0)]
)
def test_the_scale_holds_the_whole_map_in_eight_round_steps(low: float, high: float) -> None:
    scale = scale_of(ramp(low, high), "mm")
    assert len(scale.edges) == 9
    assert scale.edges[0] <= low
    assert scale.edges[-1] >= high
    assert np.ptp(np.diff(scale.edges)) < 1e-6
    assert [float(w) for w in scale.words()] == pytest.approx(scale.edges, abs=1e-9)


def test_the_eight_colours_are_viridis() -> None:
    """Ends and middle of the published table of 256 colours (van der Walt and Smith 2015, CC0),
    from memory: entry 0 is (68, 1, 84), entry 255 is (253, 231, 37)."""
    assert VIRIDIS[0] == f"#{68:02x}{1:02x}{84:02x}"
    assert VIRIDIS[-1] == f"#{253:02x}{231:02x}{37:02x}"
    light = [
        sum(int(c[i : i + 2], 16) * w for i, w in ((1, 0.299), (3, 0.587), (5, 0.114)))
        for c in VIRIDIS
    ]
    assert light == sorted(light)


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_picture_names_every_edge_and_both_sides(left_handed: bool) -> None:
    plate = sample(NARROW, "back")
    picture = thickness_picture(head("back", left_handed=left_handed), plate)
    told = words(picture)
    scale = scale_of(plate.thickness, "mm")
    assert all(edge in told for edge in scale.words())
    assert any("BACK plate, seen from the INSIDE" in w for w in told)
    places = {i.words: i.u for i in flatten(picture.items) if isinstance(i, Text)}
    assert (places["BASS"] > places["TREBLE"]) == left_handed
    root = ElementTree.fromstring(picture_svg(picture, "thickness"))
    fills = {p.get("fill") for p in root.iter(f"{SVG}path")}
    assert fills >= set(VIRIDIS)


def test_the_thick_bass_side_is_painted_on_the_bass_side() -> None:
    """A map thicker by the bass: bright paint lies right on the top, left on the back."""
    for plate_name, right in (("top", True), ("back", False)):
        plate = sample(NARROW, plate_name)
        grid = plate.thickness
        lopsided = np.where(np.isfinite(grid.values), 3.0 + 0.01 * grid.y_mm[None, :], np.nan)
        page = head(plate_name)
        picture = thickness_picture(
            page, replace(plate, thickness=GridMap(grid.x_mm, grid.y_mm, lopsided))
        )
        paths = [i for i in flatten(picture.items) if isinstance(i, Path) and len(i.rings[0]) > 8]
        sides = {
            i.fill: np.mean([u for r in i.rings for u, _ in r]) for i in paths if i.fill in VIRIDIS
        }
        bright = max(sides, key=lambda c: VIRIDIS.index(str(c)))
        dark = min(sides, key=lambda c: VIRIDIS.index(str(c)))
        assert (sides[bright] > sides[dark]) == right


def test_reserve_and_slope_name_their_thick_line() -> None:
    plate = sample(NARROW, "back")
    grid = plate.thickness
    on = np.isfinite(grid.values)
    slope = GridMap(grid.x_mm, grid.y_mm, np.where(on, np.abs(grid.y_mm)[None, :] * 0.7, np.nan))
    assert "25 degrees" in words(slope_picture(head("back"), plate, slope))
    reserve = GridMap(grid.x_mm, grid.y_mm, np.where(on, 0.9 + grid.x_mm[:, None] / 900, np.nan))
    assert "1" in words(reserve_picture(head("back"), plate, reserve))


def test_node_lines_lie_where_the_shape_is_zero() -> None:
    """z = x − 160: one node line straight across, at half the length of the plate."""
    plate = sample(NARROW, "back")
    grid = plate.thickness
    on = np.isfinite(grid.values)
    z = np.where(on, np.repeat(grid.x_mm[:, None] - 160.0, len(grid.y_mm), axis=1), np.nan)
    tone = TapTone("bend", 171.3, GridMap(grid.x_mm, grid.y_mm, z))
    picture = nodal_picture(head("back"), plate, [tone, replace(tone, name="twice", hz=300.0)])
    assert {"171 Hz", "300 Hz", "bend", "twice"} <= set(words(picture))
    paths = [i for i in flatten(picture.items) if isinstance(i, Path)]
    nodes = [p for p in paths if p.width_mm == 0.6]
    outlines = [p for p in paths if p.closed and p.fill is None]
    assert len(nodes) == 2
    for node, outline in zip(nodes, outlines, strict=True):
        vs = [v for _, v in outline.rings[0]]
        middle = (min(vs) + max(vs)) / 2
        assert max(abs(v - middle) for _, v in node.rings[0]) < 0.05
    with pytest.raises(ValueError, match="no tap tones"):
        nodal_picture(head("back"), plate, [])


def test_gauges_tell_ratio_limit_and_every_reference() -> None:
    band = {"thin": 1.38, "average": 1.0, "thick": 0.81}
    picture = verdict_picture("Back", [Verdict("local", 0.94, 1.25, band, 0.05, "under the post")])
    told = words(picture)
    for text in ("local", "ours 0.94", "limit 1.25", "thin", "1.38", "thick", "0.81", "1.00"):
        assert text in told
    assert picture_png(picture, 60.0).startswith(b"\x89PNG")


@pytest.mark.parametrize("shape", ["flat", "ball", "point118"])
@pytest.mark.parametrize("tilt", [0.0, 10.0, 20.0, 28.0])
def test_the_card_is_drawn_as_the_plane_slope_says(shape: str, tilt: float) -> None:
    """Drawn gap from rest tip to bit end against the formulas for a plane slope (common practice,
    no source; plain trigonometry): flat t = h cos − R(1 − cos) − r sin; ball nose
    t = h cos − (R + r)(1 − cos); 118° point up to 31° t = h cos − R(1 − cos)."""
    tool = Tool(6.0, shape, 5.0, 0.1)  # type: ignore[arg-type]
    section = Section(ScrapCut("A", "rest", "level", "5.0", tilt, 4.0, 0.1), tool, 1.0)
    h = section.tip(section.base())
    c, s, big, small = cos(radians(tilt)), sin(radians(tilt)), 5.0, 3.0
    left = {
        "flat": h * c - big * (1 - c) - small * s,
        "ball": h * c - (big + small) * (1 - c),
        "point118": h * c - big * (1 - c),
    }[shape]
    assert left == pytest.approx(4.0, abs=1e-9)


def test_a_steep_point_is_drawn_by_its_corner() -> None:
    """Above 31°: t = (h + r tan 31°) cos − r sin − R(1 − cos)."""
    section = Section(
        ScrapCut("A", "rest", "level", "5.0", 38.0, 4.0, 0.1), Tool(6.0, "point118", 5.0, 0.1), 1.0
    )
    h, a = section.tip(section.base()), radians(38.0)
    left = (h + 3 * tan(radians(31))) * cos(a) - 3 * sin(a) - 5 * (1 - cos(a))
    assert left == pytest.approx(4.0, abs=1e-9)
