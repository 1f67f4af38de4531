"""Decided -> decision.json, as plain values with few digits, so that the same input gives the
same bytes."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from graduale.base.arrays import Floats, GridMap
from graduale.base.digest import code_digest, digest, short, versions
from graduale.box.drying import DRIEST_PERCENT, closing_moisture
from graduale.box.tones import Tone
from graduale.box.verdicts import BUCKLING_FLOOR, K_DEF, Judged, worst
from graduale.box.working import WORK_PRESS_N, WorkPress
from graduale.jobs.apart import PlateState
from graduale.jobs.deciding import Decided, DecidedPlate, zone_limits
from graduale.jobs.doubt_document import doubt_document
from graduale.jobs.places import stations, summary_places, values_at
from graduale.jobs.reference import PLATES, ROOMS, Reference
from graduale.jobs.setup_report import SetupReport
from graduale.plan.records import HolePlan
from graduale.plan.stages import Stage
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import ZONES
from graduale.thickness.margins import AtMargin

FORMAT = 1
_ALL_ROOMS = (*ROOMS, "graduale.plan", "graduale.jobs")


def rounded(value: float, digits: int = 4) -> float | None:
    """A float with few digits; None for NaN or infinity."""
    return round(float(value), digits) + 0.0 if np.isfinite(value) else None


def grid_values(values: Floats, digits: int = 3) -> list[list[float | None]]:
    """Rows = x, null off the plate."""
    return [[rounded(v, digits) for v in row] for row in values]


def decision_digest(instrument: Instrument, band: Mapping[str, Any]) -> str:
    """Digest of all that the decision depends on: inputs, reference, code, versions."""
    return short(digest("decision", asdict(instrument), band, code_digest(*_ALL_ROOMS), versions()))


def instrument_digest(instrument: Instrument) -> str:
    """Digest of what the maps rest on: the instrument without its drill and workshop, but with how
    sure it is."""
    facts = asdict(instrument)
    kept = {k: v for k, v in facts.items() if k not in ("drill", "workshop", "known")}
    spreads = {k: p.spread for k, p in instrument.known.items() if p.spread is not None}
    return short(digest(kept, spreads, instrument.workshop.caliper_spread_mm))


def document(
    made: Decided, plans: Mapping[PlateName, HolePlan], stages: Mapping[PlateName, Sequence[Stage]]
) -> dict[str, Any]:
    """The whole decision. When it is not safe the guide holes are left out."""
    inst = made.instrument
    safe = not made.failing and made.buckling >= BUCKLING_FLOOR
    band = band_document(made.reference)
    plates = {w: plate_document(made, w, stages[w]) for w in PLATES}
    return {
        "format": FORMAT,
        "digest": decision_digest(inst, band),
        "instrument": inst.name,
        "instrument_digest": instrument_digest(inst),
        "kind": inst.kind,
        "left_handed": inst.left_handed,
        "safe": safe,
        "margin": inst.margin,
        "confidence": inst.confidence,
        "family": made.choice.family,
        "tried": [
            {
                "family": t.family,
                "mass_g": rounded(t.mass_g, 2),
                "zones_mm": {w: [rounded(z, 3) for z in t.zones[w]] for w in PLATES},
            }
            for t in made.choice.trials
        ],
        "margins": [margin_document(m) for m in made.margins],
        "failing": [judged_document(j) for j in made.failing],
        "unreachable": list(made.choice.unreachable),
        "tightest": [judged_document(j) for j in made.judged[:12]],
        "without_counterpart": sorted(without_counterpart(made)),
        "on_least": list(made.choice.at_least),
        "guard": {
            "buckling_with_creep": rounded(made.buckling, 2),
            "floor": BUCKLING_FLOOR,
            "k_def": K_DEF,
            "passes": bool(made.buckling >= BUCKLING_FLOOR),
        },
        "setup": setup_document(made.setup),
        "drying": drying_document(made),
        "reference": band,
        "doubt": doubt_document(made),
        "drill": asdict(inst.drill),
        "plates": plates,
        "guide_holes": [asdict(h) for w in PLATES for h in plans[w].holes] if safe else [],
        "hole_plans": {w: plan_document(plans[w]) for w in PLATES} if safe else {},
    }


def margin_document(one: AtMargin) -> dict[str, Any]:
    """What one margin asks for."""
    return {
        "margin": rounded(one.margin),
        "zones_mm": {w: [rounded(z, 3) for z in one.zones[w]] for w in PLATES},
        "more_g": {w: rounded(one.more_g[w], 2) for w in PLATES},
        "met": one.met,
        "approximate": not one.settled,
    }


def without_counterpart(made: Decided) -> set[str]:
    """Stress read-outs at spots that the violins of the band do not have (they gate nothing)."""
    gated = {j.key for j in made.judged}
    return {k for k in made.reading.keys if ": " in k and k not in gated}


def plate_document(made: Decided, which: PlateName, stages: Sequence[Stage]) -> dict[str, Any]:
    """One plate."""
    plate, inst = made.plates[which], made.instrument
    last = plate.finished
    places = summary_places(inst, plate.body)
    named = {p.name: p for p in stations(inst, plate.body)}
    at = values_at(last.thickness, named)
    out = {
        "mass_g": rounded(last.mass_g, 2),
        "tap_tones": [tone_document(t) for t in last.tones],
        "verdicts": {
            k: verdict_document(made.judged, which, k) for k in ("across", "local", "lengthwise")
        },
        "zones_mm": {n: rounded(z, 3) for n, z in zip(ZONES, plate.field.zones, strict=True)},
        "limited_by": {
            z: None if j is None else judged_document(j)
            for z, j in zone_limits(made)[which].items()
        },
        "summary_mm": {n: rounded(v, 2) for n, v in values_at(last.thickness, places).items()},
        "stations": [
            {
                "name": n,
                "x_mm": rounded(p.x_mm, 2),
                "y_mm": rounded(p.y_mm, 2),
                "mm": rounded(at[n], 2),
            }
            for n, p in named.items()
        ],
        "thickness": map_document(last.thickness),
        "platform": [[bool(v) for v in row] for row in plate.platform],
        "floor_lone_spot": map_document(plate.floor_lone),
        "floor_joint": map_document(plate.floor_joint),
        "joint_reduction_mm": rounded(made.joint_mm, 3),
        "reserve": map_document(plate.reserve),
        "stages": [
            {
                "tool": s.tool,
                "allowance_mm": s.allowance_mm,
                "scatter_mm": s.scatter_mm,
                "before_soundholes": s.before_soundholes,
                "leave": grid_values(s.leave.values),
            }
            for s in stages
        ],
        "wood": wood_document(plate),
    }
    if which == "top":
        out["states"] = {s.name: state_document(made, s) for s in plate.states}
    return out


def wood_document(plate: DecidedPlate) -> dict[str, Any]:
    """What the computation took the wood to be."""
    wood = plate.body.wood
    return {
        "name": wood.name,
        "density_kg_m3": rounded(wood.density_kg_m3, 1),
        "moduli_mpa": {k: rounded(v, 1) for k, v in wood.moduli().items()},
        "works_like": plate.wood_kind,
    }


def map_document(grid: GridMap) -> dict[str, Any]:
    """A map on its grid."""
    return {
        "x_mm": [rounded(v, 3) for v in grid.x_mm],
        "y_mm": [rounded(v, 3) for v in grid.y_mm],
        "values": grid_values(grid.values),
    }


def map_from(stored: Mapping[str, Any]) -> GridMap:
    """The map back from its document."""
    values = np.array(
        [[np.nan if v is None else v for v in row] for row in stored["values"]], dtype=np.float64
    )
    return GridMap(np.array(stored["x_mm"]), np.array(stored["y_mm"]), values)


def tone_document(tone: Tone) -> dict[str, Any]:
    """One tap tone."""
    return {"hz": rounded(tone.hz, 1), "name": tone.name, "overlap": rounded(tone.overlap, 2)}


def judged_document(one: Judged) -> dict[str, Any]:
    """One verdict at one place."""
    return {
        "key": one.key,
        "kind": one.kind,
        "plate": one.plate,
        "where": one.place,
        "x_mm": None if one.x_mm is None else rounded(one.x_mm, 1),
        "y_mm": None if one.y_mm is None else rounded(one.y_mm, 1),
        "demand": rounded(one.demand, 6),
        "ratio": rounded(one.ratio),
        "band": [rounded(v) for v in one.band],
        "limit": rounded(one.limit),
        "reserve": rounded(one.reserve),
    }


def verdict_document(
    judged: tuple[Judged, ...], which: PlateName, kind: str
) -> dict[str, Any] | None:
    """The tightest verdict of a kind; None when there is no reference for it."""
    one = worst(judged, which, kind)  # type: ignore[arg-type]
    if one is None:
        return None
    out = judged_document(one)
    if kind == "local":
        out["load_factor"] = rounded(1.0 / one.demand, 2) if one.demand > 0.0 else None
        out["load_factor_note"] = "uncalibrated, mean strength, no time under load"
    return out


def state_document(made: Decided, state: PlateState) -> dict[str, Any]:
    """One state of the top: map, mass, tones; the verdict of the plate alone under the working
    hand."""
    out = {
        "thickness": map_document(state.thickness),
        "mass_g": rounded(state.mass_g, 2),
        "tap_tones": [tone_document(t) for t in state.tones],
    }
    handled = made.handled
    if handled is not None and state.name in handled.presses:
        out["verdicts"] = {
            "local": _working(handled.presses[state.name], handled.ratios[state.name]),
            "across": None,
            "lengthwise": None,
            "note": "across and lengthwise belong to the closed box; a plate alone has neither",
        }
    return out


def _working(found: WorkPress, ratio: Floats) -> dict[str, Any]:
    """Stress of the plate alone against that of the finished top under the same hand, ratio
    (s,)."""
    worst_at = int(np.argmax(ratio))
    spot = found.spots[worst_at]
    return {
        "case": f"plate alone, held at the rib line, {WORK_PRESS_N:g} N from inside",
        "ratio": rounded(ratio[worst_at]),
        "band": [1.0, 1.0],
        "limit": 1.0,
        "reserve": rounded(1.0 / ratio[worst_at]),
        "where": spot.name,
        "x_mm": rounded(spot.x_mm, 1),
        "y_mm": rounded(spot.y_mm, 1),
        "load_factor_least": rounded(1.0 / float(found.use.max()), 2),
    }


def setup_document(s: SetupReport) -> dict[str, Any]:
    """Strings, sag, rotation, projection."""
    strings = s.strings
    return {
        "tension_total_n": rounded(strings.tension_total_n, 1),
        "press_total_n": rounded(strings.press_total_n, 1),
        "break_angle_deg": rounded(strings.break_angle_deg, 2),
        "foot_shares": [rounded(v, 3) for v in strings.shares],
        "foot_lifts": bool(strings.lifts),
        "tensions_n": {line.note: rounded(line.tension_n, 1) for line in strings.lines},
        "sag_mm": {
            side: {
                "at_once": rounded(v.at_once_mm, 3),
                "press_part": rounded(v.of_press_mm, 3),
                "string_part": rounded(v.of_strings_mm, 3),
                "after_years": rounded(v.after_years_mm, 3),
                "after_years_range": [rounded(x, 3) for x in v.after_years_range_mm],
            }
            for side, v in s.sag.items()
        },
        "end_rotation_deg": rounded(s.rotation_deg),
        "end_rotation_per_n_m_deg": rounded(s.rotation_per_n_m_deg, 5),
        "projection_drop_mm": rounded(s.projection_drop_mm, 3),
        "projection_terms_mm": {
            "rotation_times_lever": rounded(s.drop_of_rotation_mm, 3),
            "rib_sag": rounded(s.drop_of_rib_mm, 3),
        },
        "post_n": rounded(s.post_n, 1),
        "bar_end_n_per_mm": (
            None if s.bar_end_n_per_mm is None else [rounded(v, 2) for v in s.bar_end_n_per_mm]
        ),
    }


def drying_document(made: Decided) -> dict[str, Any]:
    """Drying against ribs and blocks that do not shrink."""
    return {
        "note": "elastic upper bound; about half relaxes with time [own]; not gated",
        "close_at_most_percent": rounded(closing_moisture(made.dried), 1),
        "driest_percent": DRIEST_PERCENT,
        "steps": [
            {
                "plate": d.plate,
                "percent": d.percent,
                "across_mpa": rounded(d.across_mpa, 2),
                "with_strings_mpa": rounded(d.with_strings_mpa, 2),
                "strength_mpa": rounded(d.strength_mpa, 2),
                "where": d.where,
                "x_mm": rounded(d.x_mm, 1),
                "y_mm": rounded(d.y_mm, 1),
            }
            for d in made.dried
        ],
    }


def band_document(known: Reference) -> dict[str, Any]:
    """What the reference band rests on."""
    return {
        name: {
            "source": m.source,
            "mass_g": {w: rounded(m.mass_g[w], 1) for w in PLATES},
            "zones_mm": {w: [rounded(z, 2) for z in m.zones[w]] for w in PLATES},
            "buckling_with_creep": rounded(m.buckling, 2),
        }
        for name, m in known.members.items()
    }


def plan_document(plan: HolePlan) -> dict[str, Any]:
    """Groups, blanks and notes of one plate's guide holes."""
    return {
        "groups": [asdict(g) for g in plan.groups],
        "blank": [[rounded(b[0], 1), rounded(b[1], 1), b[2]] for b in plan.blank],
        "notes": [f.line() for f in plan.findings],
        "bit": plan.bit,
        "depth_to": plan.depth_to,
        "allowance_mm": plan.allowance_mm,
        "spare_mm": plan.spare_mm,
    }


def as_bytes(content: Mapping[str, Any]) -> bytes:
    """The JSON file's bytes."""
    return (
        json.dumps(content, allow_nan=False, separators=(",", ":"), sort_keys=True) + "\n"
    ).encode()
