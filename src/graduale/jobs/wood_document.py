"""What the taps say about the wood, as plain values, and as the table of the instrument file."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from graduale.base.findings import Finding
from graduale.jobs.wood_input import Typed
from graduale.jobs.wood_plate import OnBench
from graduale.readings.evidence import Evidence
from graduale.readings.identify import Identified, Rival
from graduale.readings.remarks import Helps
from graduale.readings.tapped import NUMBERS
from graduale.records.instrument import Instrument, PlateName, WoodChoice
from graduale.wood.species import MODULI
from graduale.words.catalogue import say

FORMAT = 1
_UNITS = {"density": "kg/m3", **dict.fromkeys(MODULI, "MPa"), "nu_LR": "", "thickness": ""}
_SOURCE = "weight and tap tones of the plate"


def document(
    instrument: Instrument,
    typed: Typed,
    bench: OnBench,
    evidence: Evidence,
    found: Identified,
    notes: Sequence[Finding],
    more: Sequence[Helps],
) -> dict[str, Any]:
    """Everything that `wood` found."""
    before = dict(zip(NUMBERS, np.exp(found.before).tolist(), strict=True))
    after = dict(zip(NUMBERS, np.exp(found.mean).tolist(), strict=True))
    return {
        "format": FORMAT,
        "instrument": instrument.name,
        "plate": typed.plate,
        "species": bench.tapped.wood.name,
        "state": bench.state,
        "thickness_from": bench.known_from,
        "mass_g": {"weighed": evidence.mass_g, "computed": round(found.mass_g, 2)},
        "wood": {
            name: {
                "unit": _UNITS[name],
                "before": _figure(before[name]),
                "spread_before": round(found.spread_before[name], 4),
                "after": _figure(after[name]),
                "spread": round(found.spread[name], 4),
            }
            for name in NUMBERS
        },
        "taps": [_tap(evidence.taps[i].hz, found, k) for i, k in enumerate(found.mode_of)],
        "modes": [
            {
                "hz": round(m.hz, 2),
                "spread_hz": round(m.spread_hz, 2),
                "name": m.name,
                "overlap": round(m.overlap, 3),
                "heard": m.tap >= 0,
            }
            for m in found.modes
        ],
        "misfit": round(found.misfit, 3),
        "rivals": [_rival(r) for r in found.rivals],
        "would_help": [_helps(h, found) for h in more[:4]],
        "findings": [asdict(f) for f in notes],
    }


def _figure(value: float) -> float:
    return float(f"{value:.5g}")


def _tap(hz: float, found: Identified, mode: int) -> dict[str, Any]:
    if mode < 0:
        return {"hz": hz, "mode": None}
    m = found.modes[mode]
    return {
        "hz": hz,
        "mode": m.name,
        "number": int(mode) + 1,
        "computed_hz": round(m.hz, 2),
        "gap": round(hz / m.hz - 1.0, 4),
        "overlap": round(m.overlap, 3),
    }


def _rival(rival: Rival) -> dict[str, Any]:
    """Another way to read the taps: names of the modes by tap, and the wood it would be."""
    at = np.exp(rival.mean).tolist()
    return {
        "modes": [rival.names[k] if k >= 0 else None for k in rival.mode_of.tolist()],
        "odds": round(rival.odds, 2),
        "wood": {name: _figure(v) for name, v in zip(NUMBERS, at, strict=True)},
    }


def _helps(helps: Helps, found: Identified) -> dict[str, Any]:
    out: dict[str, Any] = {
        "what": helps.kind,
        "spread": {n: round(helps.spread[n], 4) for n in ("density", "EL", "ER", "GLR")},
    }
    if helps.mode >= 0:
        out["mode"] = found.modes[helps.mode].name
        out["near_hz"] = round(found.modes[helps.mode].hz, 1)
    return out


def snippet(choice: WoodChoice, plate: PlateName, found: Identified) -> str:
    """The plate's wood table of the instrument file, with what the taps found (TOML)."""
    w, spread = found.wood, found.spread
    lines = [f"# {say('wood.snippet', plate=plate)}", f"[{plate}.wood]"]
    lines.append(f'species = "{choice.species}"')
    lines += [f"{k} = {v:g}" for k, v in _angles(choice).items() if v]
    lines += ["one_piece = true"] if choice.one_piece else []
    lines += [f"density = {_value(w.density_kg_m3, spread['density'])}", ""]
    lines.append(f"[{plate}.wood.moduli]")
    lines += [f"{name} = {_value(value, spread[name])}" for name, value in w.moduli().items()]
    poisson = {**choice.poisson, "LR": w.nu_lr}
    lines += ["", f"[{plate}.wood.poisson]"]
    lines += [f"{name} = {value:.4g}" for name, value in poisson.items()]
    return "\n".join(lines) + "\n"


def _angles(choice: WoodChoice) -> dict[str, float]:
    return {"ring_angle": choice.ring_angle_deg, "runout": choice.runout_deg}


def _value(value: float, spread: float) -> str:
    inner = f"value = {value:.5g}, spread = {value * spread:.3g}"
    return f'{{ {inner}, how = "measured", source = "{_SOURCE}" }}'
