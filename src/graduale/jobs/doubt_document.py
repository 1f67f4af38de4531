"""The doubt of a decision, as plain values: intervals, what confidence took, what to measure."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.verdicts import Judged, limits
from graduale.jobs.deciding import Decided
from graduale.jobs.reference import PLATES
from graduale.records.instrument import PlateName
from graduale.thickness.doubt import Doubt
from graduale.thickness.field import FAMILIES, ZONES
from graduale.thickness.measures import Narrowed, measures
from graduale.thickness.worth import Measure, Near, ranked, room_of, share_gone

DRAWS, SEED = 120, 20261125
_LEAST = 0.02  # shares below this are not listed


def rounded(value: float, digits: int = 4) -> float:
    """A float with few digits."""
    return round(float(value), digits) + 0.0


def near_of(made: Decided) -> Near:
    """The programme around the decided map."""
    solved, box = made.choice.solved, made.box
    assert solved is not None
    assert solved.slopes is not None
    slopes = solved.slopes
    bounds = limits(made.reading, made.reference.band, made.instrument.margin)
    keys = tuple(k for k in bounds if k not in made.choice.unreachable)
    family = FAMILIES[made.choice.family]
    wide = np.asarray(np.kron(np.eye(2), family), dtype=np.float64)
    mass_row = box.structure.mass_slope_g()
    into = np.zeros((len(box.shell.nodes), 8))
    lowest = []
    for i, w in enumerate(PLATES):
        layout, zones = made.plates[w].layout, made.choice.zones[w]
        rows = layout.basis(box.plates[w].inside_xy).slopes(zones)
        first = box.first_node(w)
        into[first : first + len(rows), 4 * i : 4 * i + 4] = rows
        least = np.array([layout.least_mm] * 3 + [layout.least_channel_mm])
        lowest += [float((least - zones)[c > 0.0].max()) for c in family.T]
    steps = into @ wide
    rows = np.array([slopes[k] / solved.values[k] for k in keys]) @ steps
    room = room_of(solved.values, bounds, keys)
    return Near(keys, rows, room, mass_row @ steps, np.minimum(np.array(lowest), 0.0), wide)


def doubt_document(made: Decided) -> dict[str, Any]:
    """Everything of the decision's doubt."""
    doubt, near = made.doubt, near_of(made)
    at = [doubt.at[k] for k in near.keys]
    sure = doubt.sure()
    shifts = doubt.draws(DRAWS, SEED)[:, at] + _known(near, sure)
    zones, rules = near.spread_of_zones(shifts)
    decided = np.concatenate([made.choice.zones[w] for w in PLATES])
    low, high = (decided + np.quantile(zones, q, axis=0) for q in (0.05, 0.95))
    governs = _governing(made)
    return {
        "confidence": doubt.confidence,
        "mass_g": {w: _mass(made, doubt, w) for w in PLATES},
        "tones_hz": {w: _tones(made, doubt, w) for w in PLATES},
        "zones_mm": {
            w: {
                z: [rounded(low[4 * i + k], 2), rounded(high[4 * i + k], 2)]
                for k, z in enumerate(ZONES)
            }
            for i, w in enumerate(PLATES)
        },
        "verdicts": {w: _verdicts(made, doubt, sure, w) for w in PLATES},
        "costs_g": rounded(near.let_go_g(_known(near, sure)), 2),
        "governs": None if governs is None else governs.key,
        "sources": _sources(doubt, governs),
        "measure": [_measure_document(m) for m in _ranked(made, near, rules, sure, governs)],
    }


def _known(near: Near, sure: Mapping[str, float]) -> Floats:
    """Shift of the demands (k,) when nothing is taken off the limits for doubt."""
    return np.array([np.log(sure.get(k, 1.0)) for k in near.keys])


def _governing(made: Decided) -> Judged | None:
    """The tightest verdict that thickness can meet."""
    reachable = [j for j in made.judged if j.key not in made.choice.unreachable]
    return reachable[0] if reachable else None


def _mass(made: Decided, doubt: Doubt, which: PlateName) -> list[float]:
    low, high = doubt.interval(f"mass {which}", made.plates[which].finished.mass_g)
    return [rounded(low, 1), rounded(high, 1)]


def _tones(made: Decided, doubt: Doubt, which: PlateName) -> list[list[float]]:
    out = []
    for i, tone in enumerate(made.plates[which].finished.tones):
        name = f"tone {which} {i + 1}"
        if name in doubt.at:
            out.append([rounded(v, 1) for v in doubt.interval(name, tone.hz)])
    return out


def _verdicts(
    made: Decided, doubt: Doubt, sure: Mapping[str, float], which: PlateName
) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for kind in ("across", "local", "lengthwise"):
        one = next((j for j in made.judged if j.kind == kind and j.plate in (which, None)), None)
        out[kind] = None if one is None else _verdict(doubt, sure, one)
    return out


def _verdict(doubt: Doubt, sure: Mapping[str, float], one: Judged) -> dict[str, Any]:
    low, high = doubt.interval(one.key, one.ratio)
    spreads = [doubt.ratio_spread(one.key, same_wood=same) for same in (False, True)]
    return {
        "key": one.key,
        "ratio": [rounded(low), rounded(high)],
        "spread": rounded(doubt.spread(one.key)),
        "spread_of_band": rounded(doubt.theirs.spread.get(one.key, 0.0)),
        "limit_factor": rounded(sure.get(one.key, 1.0)),
        "spread_independent_wood": None if spreads[0] is None else rounded(spreads[0]),
        "spread_same_wood": None if spreads[1] is None else rounded(spreads[1]),
    }


def _sources(doubt: Doubt, governs: Judged | None) -> list[dict[str, Any]]:
    """Share of the variance of masses and the governing verdict by source, the greatest first."""
    names = {f"mass_{w}": f"mass {w}" for w in PLATES}
    if governs is not None:
        names["governs"] = governs.key
    total = {k: doubt.spread(n) ** 2 for k, n in names.items()}
    rows = []
    for source in doubt.sources:
        parts = doubt.variances[source.key]
        shares = {k: float(parts[doubt.at[n]]) / total[k] for k, n in names.items()}
        if max(shares.values()) >= _LEAST:
            row = {k: rounded(v, 3) for k, v in shares.items()}
            rows.append({"source": source.key, "group": source.group, **row})
    last = "governs" if governs is not None else "mass_top"
    return sorted(rows, key=lambda r: (-r[last], r["source"]))


def _ranked(
    made: Decided,
    near: Near,
    rules: Mapping[str, Floats],
    sure: Mapping[str, float],
    governs: Judged | None,
) -> tuple[Measure, ...]:
    found = [
        _worth(made.doubt, near, rules, sure, governs, one)
        for one in measures(made.instrument, made.doubt)
    ]
    listed = [m for m in found if max(m.mass, m.governs, m.zones) >= _LEAST or m.let_go_g >= 0.05]
    return ranked(listed)


def _worth(
    doubt: Doubt,
    near: Near,
    rules: Mapping[str, Floats],
    sure: Mapping[str, float],
    governs: Judged | None,
    one: Narrowed,
) -> Measure:
    left = doubt.left(one.left)
    after = doubt.sure(left)
    shift = np.array([np.log(sure.get(k, 1.0) / after.get(k, 1.0)) for k in near.keys])
    mass = max(
        share_gone(doubt.spread(f"mass {w}"), doubt.spread(f"mass {w}", left))
        for w in PLATES
        if one.plate in (w, None)
    )
    key = None if governs is None else governs.key
    less = 0.0 if key is None else share_gone(doubt.spread(key), doubt.spread(key, left))
    zones = 0.0
    if rules:
        before, then = (doubt.combined(rules, covs) for covs in ({}, one.left))
        most = int(np.argmax(before))
        zones = share_gone(float(before[most]), float(then[most]))
    return Measure(one.key, one.plate, mass, less, zones, max(0.0, near.let_go_g(shift)))


def _measure_document(m: Measure) -> dict[str, Any]:
    return {
        "key": m.key,
        "plate": m.plate,
        "mass_less": rounded(m.mass, 2),
        "governs_less": rounded(m.governs, 2),
        "zones_less": rounded(m.zones, 2),
        "let_go_g": rounded(m.let_go_g, 2),
    }
