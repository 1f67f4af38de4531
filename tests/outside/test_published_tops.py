"""Free tops of full size as they are measured.

Jansson, Acoustics for Violin and Guitar Makers, chapter V (2002; published, quoted): 14 unfinished
free tops, mode 1 (twist) 89 ± 10, mode 2 (X) 165 ± 24, mode 5 (ring) 350 ± 34 Hz; node lines of
mode 5 on the middle line 69 ± 8 mm below the upper edge and 60 ± 8 above the lower. What is
computed is the average violin of the reference band, before its soundholes, of mean European
spruce: no board, arching or thickness of those tops is known. Allowed: the spread that is
printed.
"""

import tomllib
from dataclasses import replace
from functools import cache
from importlib.resources import files

import numpy as np

from graduale.box.plate import plate_bodies
from graduale.box.tones import Tone, free_plate, tones
from graduale.files.instrument import parse_instrument
from graduale.records.instrument import Instrument
from graduale.thickness.field import Field, layout_of
from tests.verification import Verified

JANSSON = "Jansson 2002, ch. V, 14 unfinished free tops"
ONE_TOP = "Jansson 2002, ch. V, one finished top of 2.8 mm"
SIZE_MM = 5.0


def packaged(name: str) -> str:
    """A packaged input of the reference band."""
    return files("graduale.jobs").joinpath("data", "reference", name).read_text(encoding="utf-8")


@cache
def average() -> tuple[Instrument, Field]:
    """The average violin and the map of its top, as it is."""
    violin = parse_instrument(packaged("violin.toml"), "violin.toml").instrument
    row = tomllib.loads(packaged("band.toml"))["average"]["top"]
    layout = layout_of(violin, plate_bodies(violin)["top"])
    free = replace(layout, least_mm=0.0, least_channel_mm=0.0, steepest=np.inf)
    zones = [row["post_zone"], row["bouts"], row["bouts"], row["channel"]]
    return violin, free.at(np.array(zones))


def heard(*, finished: bool) -> tuple[Tone, ...]:
    """Its first tap tones, before the soundholes or with all that belongs to it."""
    violin, rule = average()
    body = plate_bodies(violin)["top"]
    free = free_plate(violin, body, rule, SIZE_MM, openings=finished, bar=finished)
    return tones(free, rule, 5, grid_mm=2.0)


def test_unfinished_tops(verified: Verified) -> None:
    found = {tone.name: tone for tone in heard(finished=False)}
    for name, number, printed, spread in (
        ("twist", 1, 89.0, 10.0),
        ("X", 2, 165.0, 24.0),
        ("ring", 5, 350.0, 34.0),
    ):
        verified(
            f"average top before its soundholes, mode {number} ({name})",
            found[name].hz,
            printed,
            source=JANSSON,
            status="P",
            abs=spread,
            unit="Hz",
        )
    lower, upper = quiet_places(found["ring"])
    length = average()[0].body.length_mm
    for what, ours, printed in (
        ("below the upper edge", length - upper, 69.0),
        ("above the lower edge", lower, 60.0),
    ):
        verified(
            f"average top, ring: node line on the middle, {what}",
            ours,
            printed,
            source=JANSSON,
            status="P",
            abs=8.0,
            unit="mm",
        )


def quiet_places(ring: Tone) -> tuple[float, float]:
    """x of the first and the last change of sign along the middle line."""
    x = np.arange(4.0, ring.motion.x_mm[-1] - 4.0, 0.5)
    motion = ring.motion.at(np.column_stack([x, np.zeros_like(x)]))
    change = np.flatnonzero(np.sign(motion[1:]) != np.sign(motion[:-1]))
    assert len(change) == 2
    return float(x[change[0]]), float(x[change[-1]])


def test_one_finished_top_is_shown_beside(verified: Verified) -> None:
    """85 156 249 260 348 Hz: one top, whose wood, arching and bar are not told."""
    printed = (85.0, 156.0, 249.0, 260.0, 348.0)
    ours = [tone.hz for tone in heard(finished=True)]
    for number, (mine, theirs) in enumerate(zip(ours, printed, strict=True), start=1):
        verified.beside(
            f"average top with holes and bar, mode {number}",
            mine,
            theirs,
            source=ONE_TOP,
            status="P",
            unit="Hz",
            reason="One top; its wood, arching and bar are not told",
        )
        assert abs(np.log(mine / theirs)) < 0.25
