"""Keep-out zones: what must lie in them, what must not, on which plate."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, Polygon, union_all

from graduale.files.instrument import load_instrument
from graduale.geometry.outline import Outline, outline_of
from graduale.plan import zones as z
from graduale.records.instrument import Instrument, PlateName

EXAMPLE = Path(__file__).parents[2] / "examples" / "narrow-fiddle" / "instrument.toml"
HOLES = (
    np.array([[130.0, 30.0], [200.0, 18.0], [202.0, 23.0], [132.0, 35.0]]),
    np.array([[130.0, -30.0], [200.0, -18.0], [202.0, -23.0], [132.0, -35.0]]),
)


@pytest.fixture(scope="module")
def fiddle() -> tuple[Instrument, Outline]:
    instrument = load_instrument(EXAMPLE).instrument
    assert instrument is not None
    return instrument, outline_of(instrument.body)


def names_at(found: Sequence[z.Zone], x: float, y: float) -> set[str]:
    return {zone.name for zone in found if zone.shape.covers(Point(x, y))}


def all_zones(
    fiddle: tuple[Instrument, Outline], plate: PlateName, **parts: object
) -> tuple[z.Zone, ...]:
    instrument, outline = fiddle
    instrument = replace(instrument, **parts)  # type: ignore[arg-type]
    return z.keep_out_zones(plate, instrument, outline, HOLES, ((20.0, 0.0, 2.0),))


def test_places_and_their_zones(fiddle: tuple[Instrument, Outline]) -> None:
    instrument, outline = fiddle
    found = all_zones(fiddle, "top")
    x0 = float(outline.xy[:, 0].min())
    bass, _ = outline.half_widths([75.0])
    assert z.PLATFORM in names_at(found, 75.0, bass[0] - 2.0)
    assert z.END_BLOCK in names_at(found, x0 + 8.0, 6.0)
    tip = outline.corners[0]
    assert z.CORNER_BLOCK in names_at(found, tip[0], tip[1] * 0.96)
    channel = bass[0] - instrument.top.arch.channel_at_mm
    assert z.CHANNEL in names_at(found, 75.0, channel - 0.5)
    assert z.SOUNDHOLE in names_at(found, 166.0, 26.0)
    assert z.POST in names_at(found, instrument.post.x_mm, instrument.post.y_mm)
    bar_y = 0.5 * (instrument.bar.lower_y_mm + instrument.bar.upper_y_mm)
    middle = instrument.bar.lower_end_x_mm + instrument.bar.length_mm / 2
    assert z.BAR in names_at(found, middle, bar_y)
    assert z.JOINT in names_at(found, 100.0, 0.0)
    assert z.PIN in names_at(found, 20.0, 0.5)
    assert names_at(found, 75.0, -15.0) == set()


def test_bar_and_soundholes_are_on_the_top_alone(fiddle: tuple[Instrument, Outline]) -> None:
    back = {zone.name for zone in all_zones(fiddle, "back")}
    assert z.BAR not in back
    assert z.SOUNDHOLE not in back
    assert z.POST in back


def test_absent_parts_leave_no_zone(fiddle: tuple[Instrument, Outline]) -> None:
    instrument, _ = fiddle
    wood = replace(instrument.top.wood, one_piece=True)
    found = all_zones(
        fiddle,
        "top",
        bar=replace(instrument.bar, present=False),
        post=replace(instrument.post, present=False),
        top=replace(instrument.top, wood=wood),
    )
    names = {zone.name for zone in found}
    assert names.isdisjoint({z.BAR, z.POST, z.JOINT})


def test_polygons_are_simple_and_on_the_plate(fiddle: tuple[Instrument, Outline]) -> None:
    body = fiddle[1].polygon.buffer(1e-6)
    for zone in all_zones(fiddle, "top"):
        assert zone.shape.is_valid
        assert zone.shape.area > 0
        assert body.covers(zone.shape)
        assert not zone.polygon.flags.writeable


def test_a_ring_keeps_its_area_when_cut() -> None:
    ring = Polygon([(0, 0), (30, 0), (30, 20), (0, 20)]).difference(Point(12, 9).buffer(5.0))
    ring = ring.difference(Point(23, 12).buffer(3.0))
    rings = z.simple_rings(ring)
    assert sum(Polygon(r).area for r in rings) == pytest.approx(ring.area)
    assert union_all([Polygon(r) for r in rings]).symmetric_difference(ring).area < 1e-9


def test_the_bar_zone_lies_on_the_bass_side(fiddle: tuple[Instrument, Outline]) -> None:
    bars = [zone for zone in all_zones(fiddle, "top") if zone.name == z.BAR]
    assert len(bars) == 1
    assert np.min(bars[0].polygon[:, 1]) > 0
    posts = [zone for zone in all_zones(fiddle, "back") if zone.name == z.POST]
    assert np.max(posts[0].polygon[:, 1]) < 0
