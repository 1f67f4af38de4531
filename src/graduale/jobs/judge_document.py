"""A judgement as plain values: the verdicts as in decision.json, readings, thin spots, what may
come off."""

from dataclasses import asdict
from typing import Any

import shapely

from graduale.base.arrays import GridMap
from graduale.base.digest import code_digest, digest, short, versions
from graduale.box.anywhere import LocalPress
from graduale.box.verdicts import BUCKLING_FLOOR, K_DEF
from graduale.files.readings import Readings
from graduale.geometry.grid import plate_grid
from graduale.jobs.document import (
    band_document,
    instrument_digest,
    judged_document,
    map_document,
    rounded,
    setup_document,
    tone_document,
    verdict_document,
)
from graduale.jobs.judge_room import Room, ToGo, to_go
from graduale.jobs.judge_spots import SpotVerdict
from graduale.jobs.judging import Judgement, PlateNow
from graduale.jobs.reference import PLATES, ROOMS
from graduale.readings.map import PlateMap
from graduale.records.instrument import PlateName

FORMAT = 1
GRID_MM = 2.0
_MOST_BESIDE = 4
_ROOMS = (*ROOMS, "graduale.readings", "graduale.jobs")


def judged_digest(made: Judgement, readings: Readings) -> str:
    """Digest of all that the judgement depends on: inputs, reference, code, versions."""
    numbers = [v.tolist() for v in (readings.x_mm, readings.y_mm, readings.t_mm)]
    read = [readings.plate, readings.stage, readings.when, *numbers]
    targets = [
        made.plates[w].target is not None and map_document(grid_of(made.plates[w], "target"))
        for w in PLATES
    ]
    parts = (asdict(made.instrument), read, targets, made.margin, band_document(made.reference))
    return short(digest("judged", *parts, code_digest(*_ROOMS), versions()))


def document(made: Judgement, readings: Readings) -> dict[str, Any]:
    """The whole judgement."""
    inst = made.instrument
    return {
        "format": FORMAT,
        "digest": judged_digest(made, readings),
        "instrument": inst.name,
        "instrument_digest": instrument_digest(inst),
        "kind": inst.kind,
        "left_handed": inst.left_handed,
        "safe": made.passes,
        "margin": made.margin,
        "assumed_plates": list(made.assumed),
        "failing": [judged_document(j) for j in made.failing],
        "failing_not_counted": [
            judged_document(j) for j in made.judged if not j.passes and not made.gates(j)
        ],
        "tightest": [judged_document(j) for j in made.judged[:12]],
        "guard": {
            "buckling_with_creep": rounded(made.buckling, 2),
            "floor": BUCKLING_FLOOR,
            "k_def": K_DEF,
            "passes": bool(made.buckling >= BUCKLING_FLOOR),
        },
        "room_both": room_document(made, made.room_both),
        "setup": setup_document(made.setup),
        "reference": band_document(made.reference),
        "plates": {w: plate_document(made, w) for w in PLATES},
        "findings": [asdict(f) for f in made.findings],
    }


def plate_document(made: Judgement, which: PlateName) -> dict[str, Any]:
    """One plate."""
    plate = made.plates[which]
    out: dict[str, Any] = {
        "known": plate.known,
        "state": plate.state,
        "may_stop": may_stop(made, which),
        "room": room_document(made, plate.room),
        "mass_g": rounded(plate.mass_g, 2),
        "tap_tones": [tone_document(t) for t in plate.tones],
        "verdicts": {
            k: verdict_document(made.judged, which, k) for k in ("across", "local", "lengthwise")
        },
        "thickness": map_document(grid_of(plate, "rule")),
        "thin_spots": [spot_document(v) for v in plate.thin],
        "more_thin_readings": plate.more_thin,
    }
    if plate.map is not None and plate.readings is not None:
        out |= _measured(made, plate)
    if plate.target is not None and plate.known == "measured":
        out["to_go"] = to_go_document(to_go(plate.layout, plate.rule, plate.target))
    return out


def may_stop(made: Judgement, which: PlateName) -> str:
    """'yes'; 'no more' (a verdict of the plate or the body fails, or a thin spot may: nothing more
    should come off); 'not measured'."""
    if made.plates[which].known != "measured":
        return "not measured"
    fails = any(j.plate in (which, None) for j in made.failing)
    patch = any(v.spot.plate == which for v in made.patches)
    return "no more" if fails or patch or made.buckling < BUCKLING_FLOOR else "yes"


def _measured(made: Judgement, plate: PlateNow) -> dict[str, Any]:
    """Readings used, the map's doubt and scales, where to measure next."""
    assert plate.map is not None
    assert plate.readings is not None
    scales = plate.map.kriged.scales
    places = plate.map.measure_next(made.instrument.workshop.caliper_spread_mm)[0]
    now = plate.readings
    return {
        "stage": now.stage,
        "readings": [
            {"x_mm": rounded(x, 2), "y_mm": rounded(y, 2), "mm": rounded(t, 3)}
            for (x, y), t in zip(now.xy, now.t_mm, strict=True)
        ],
        "doubt": map_document(grid_of(plate, "doubt")),
        "usual_doubt_mm": rounded(plate.map.usual_doubt_mm, 3),
        "scales_mm": {
            "along": rounded(scales.along_mm, 1),
            "across": rounded(scales.across_mm, 1),
            "spread": rounded(scales.sill_mm, 3),
        },
        "measure_next": [
            {"x_mm": rounded(x, 0), "y_mm": rounded(y, 0)}
            for x, y in (*_beside(plate.map), *(map(float, p) for p in places))
        ],
    }


def _beside(found: PlateMap) -> list[tuple[float, float]]:
    """Half way out from readings that stand alone, along the grain on both sides."""
    out = []
    for (x, y), radius in zip(found.odd.places, found.odd.radius_mm, strict=True):
        for step in (-0.5, 0.5):
            place = float(x + step * radius), float(y)
            if shapely.contains_xy(found.layout.free, *place):
                out.append(place)
    return out[:_MOST_BESIDE]


def spot_document(one: SpotVerdict) -> dict[str, Any]:
    """One thin spot; its verdict has the fields of any other."""
    spot, press = one.spot, one.press
    return {
        "x_mm": rounded(spot.x_mm, 1),
        "y_mm": rounded(spot.y_mm, 1),
        "mm": rounded(spot.t_mm, 3),
        "where": press.spot.name,
        "least_mm": rounded(spot.least_mm, 2),
        "floor_mm": None if spot.floor_mm is None else rounded(spot.floor_mm, 2),
        "neighbours_mm": rounded(spot.neighbours_mm, 2),
        "readings": spot.count,
        "reach_at_most_mm": rounded(spot.reach_mm, 1),
        "nearest_sound_reading_mm": rounded(spot.nearest_mm, 1),
        "below_least": spot.below_least,
        "below_floor": spot.below_floor,
        "below_neighbours": spot.below_neighbours,
        "verdict": press_document(press),
        "verdict_half_reach": press_document(one.half),
        "do": one.words,
    }


def press_document(press: LocalPress) -> dict[str, Any]:
    """A press at a thin spot against the reference; the fields of any verdict."""
    return {
        "case": "a press of 50 N",
        "compared_with": press.near.key,
        "ratio": rounded(press.ratio),
        "band": [rounded(v) for v in press.band],
        "limit": rounded(press.limit),
        "reserve": rounded(press.reserve),
        "load_factor": rounded(1.0 / press.use, 2),
    }


def room_document(made: Judgement, room: Room) -> dict[str, Any]:
    """An even cut that every verdict still allows, and what ends it, in plain words."""
    place = {j.key: j.place for j in made.judged}
    return {
        "evenly_mm": rounded(room.mm, 2),
        "grams": rounded(room.grams, 2),
        "limited_by": room.limited_by,
        "where": place.get(room.limited_by),
    }


def to_go_document(going: ToGo) -> dict[str, Any]:
    """What is over the decided map."""
    return {
        "grams": rounded(going.grams, 1),
        "zones": [
            {"zone": z.zone, "mean_mm": rounded(z.mean_mm, 2), "least_mm": rounded(z.least_mm, 2)}
            for z in going.zones
        ],
    }


def grid_of(plate: PlateNow, name: str) -> GridMap:
    """'rule', 'target' or 'doubt' of a plate on the 2 mm grid."""
    rule = {
        "rule": plate.rule,
        "target": plate.target,
        "doubt": None if plate.map is None else plate.map.doubt,
    }[name]
    assert rule is not None
    grid = plate_grid(plate.body.outline, GRID_MM)
    return grid.map_of(rule(grid.points))
