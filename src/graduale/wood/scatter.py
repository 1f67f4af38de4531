"""How a board may differ from what it is taken to be: one joint spread of the logarithms.

The table's spreads are tied together and then narrowed by what was measured on the board (a
Gaussian update of the logarithms). Ties, each with its source:
- moduli and strengths go with density by the powers of FPL-GTR-190 table 5-11 (from memory);
- ER, ET, GLR, GLT, GRT follow EL: the handbook gives them as ratios to it (table 5-1); the ratio
  has its own scatter. ER, ET, GRT share half of theirs (one 'across' factor), GLR and GLT half of
  theirs [own];
- bending and crushing strength share half of what density leaves with the stiffness along [own];
- Poisson ratios: 15 % together [own].
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.records.instrument import BoardMeasure, Provenance, WoodChoice
from graduale.wood.rotate import across_modulus
from graduale.wood.species import MODULI, STRENGTHS, Species, species

NAMES = ("density", *MODULI, "poisson", *STRENGTHS)
_AT = {name: i for i, name in enumerate(NAMES)}
_RATIO = 0.12  # least scatter of a ratio to EL [no source]
_POISSON = 0.15
_TIED = 0.5  # share of the residual that strength along the grain has in common with EL [own]
_PLATE_OF_BOARD = 0.01  # density: the plate against the whole board [own]
_TAP = 0.03  # modulus: what the plate has of the board's, and the tap's own model [no source]
_GIVEN = 0.05  # of a density or modulus typed without a spread [no source]
_MASS, _SIZE, _HERTZ, _MOISTURE = 0.005, 0.005, 0.005, 1.0  # of a measure without a spread [own]
_FIRM = 1e-4

Known = Mapping[str, Provenance]


@dataclass(frozen=True)
class Look:
    """One look at the board: log of the property `weights` (by name) seen within `spread`."""

    weights: Mapping[str, float]
    spread: float


def prior(row: Species) -> Floats:
    """Covariance (14, 14) of the logarithms, in the order of NAMES, of a board about the species'
    mean."""
    factors: list[Floats] = []
    one = np.eye(len(NAMES))
    sd, power = row.spread, row.exponent

    def rest(name: str, exponent: float) -> float:
        explained = exponent * sd["density"]
        return math.sqrt(max(sd[name] ** 2 - explained**2, (sd[name] / 3.0) ** 2))

    strength_power = {n: power.get(n, power["shear_along"]) for n in STRENGTHS}
    along = sum(one[_AT[m]] for m in MODULI)
    dense = one[0] + power["E"] * along
    for name in STRENGTHS:
        dense = dense + strength_power[name] * one[_AT[name]]
    factors.append(sd["density"] * dense)
    tied = {n: rest(n, strength_power[n]) for n in STRENGTHS}
    stiff = rest("EL", power["E"]) * along
    for name in ("mor", "comp_along"):
        stiff = stiff + math.sqrt(_TIED) * tied[name] * one[_AT[name]]
        tied[name] *= math.sqrt(1.0 - _TIED)
    factors.append(stiff)
    for group in (("ER", "ET", "GRT"), ("GLR", "GLT")):
        own = {m: math.sqrt(0.5 * max(sd[m] ** 2 - sd["EL"] ** 2, _RATIO**2)) for m in group}
        factors.append(sum((own[m] * one[_AT[m]] for m in group), np.zeros(len(NAMES))))
        factors += [own[m] * one[_AT[m]] for m in group]
    factors.append(_POISSON * one[_AT["poisson"]])
    shear = tied.pop("shear_along")
    width = math.sqrt(max(tied.pop("rolling_shear") ** 2 - shear**2, 0.0))
    factors.append(shear * (one[_AT["shear_along"]] + one[_AT["rolling_shear"]]))
    factors.append(width * one[_AT["rolling_shear"]])
    factors += [v * one[_AT[n]] for n, v in tied.items()]
    load = np.array(factors)
    out: Floats = load.T @ load
    return out


def narrowed(spread: Floats, looks: tuple[Look, ...], noise: Floats | None = None) -> Floats:
    """Covariance after `looks`; noise (k, k): covariance of the looks, else each on its own."""
    if not looks:
        return spread
    rows = np.zeros((len(looks), len(NAMES)))
    for i, look in enumerate(looks):
        for name, weight in look.weights.items():
            rows[i, _AT[name]] = weight
    own = np.diag([max(look.spread, _FIRM) ** 2 for look in looks]) if noise is None else noise
    gain = np.linalg.solve(rows @ spread @ rows.T + own, rows @ spread)
    out = spread - (rows @ spread).T @ gain
    return np.asarray(0.5 * (out + out.T))


def scatter_of(choice: WoodChoice, known: Known, where: str) -> Floats:
    """Covariance (14, 14) of the logarithms of this board, after all that the file knows of it.

    known: provenance by dotted key, with the spread of each measure; where: 'top.wood'.
    """
    row = species(choice.species)
    looks, noise = _board_looks(choice, known, where, row)
    out = narrowed(prior(row), looks, noise)
    typed = []
    if choice.density_kg_m3 is not None:
        typed.append(
            Look({"density": 1.0}, _given(known, f"{where}.density", choice.density_kg_m3))
        )
    if choice.e_along_mpa is not None:
        typed.append(Look({"EL": 1.0}, _given(known, f"{where}.e_along", choice.e_along_mpa)))
    if choice.e_across_mpa is not None:
        spread = _given(known, f"{where}.e_across", choice.e_across_mpa)
        typed.append(Look(across_weights(row, choice.ring_angle_deg), spread))
    for name, value in choice.moduli_mpa.items():
        typed.append(Look({name: 1.0}, _given(known, f"{where}.moduli.{name}", value)))
    return narrowed(out, tuple(typed))


def _given(known: Known, key: str, value: float) -> float:
    found = known.get(key)
    if found is None or found.spread is None:
        return _GIVEN
    return max(found.spread / value, _FIRM)


def across_weights(row: Species, ring_angle_deg: float) -> dict[str, float]:
    """d ln(modulus across the board) / d ln(ER, ET, GRT), from the across formula of `rotate`."""
    m = row.moduli_mpa
    base = across_modulus(m["ER"], m["ET"], m["GRT"], row.poisson["RT"], ring_angle_deg)
    out = {}
    for name in ("ER", "ET", "GRT"):
        more = dict(m) | {name: m[name] * 1.0001}
        moved = across_modulus(
            more["ER"], more["ET"], more["GRT"], row.poisson["RT"], ring_angle_deg
        )
        out[name] = math.log(moved / base) / math.log(1.0001)
    return out


_RAW = ("mass", "length", "width", "thickness", "end_tap", "along_tap", "cross_tap", "moisture")


def _board_looks(
    choice: WoodChoice, known: Known, where: str, row: Species
) -> tuple[tuple[Look, ...], Floats]:
    """Looks at density and moduli through the board's measures, with what they share: mass and size
    stand in all of them, a length with the power that the tap's formula gives it."""
    board = choice.board
    raw = _raw_spread(board, known, where)
    wet = 1.0 / (100.0 + (board.moisture_percent or 0.0))
    dry = -math.log(row.moisture_ratio) / (row.moisture_intersection_percent - 12.0)
    found: list[tuple[Look, dict[str, float]]] = []
    if board.mass_g is not None and choice.density_kg_m3 is None:
        density = {"mass": 1.0, "length": -1.0, "width": -1.0, "thickness": -1.0, "moisture": -wet}
        found.append((Look({"density": 1.0}, _PLATE_OF_BOARD), density))
    size = {"mass": 1.0, "width": -1.0, "thickness": -1.0, "moisture": -dry}
    if choice.e_along_mpa is None:
        if board.end_tap_hz is not None:
            found.append((Look({"EL": 1.0}, _TAP), size | {"length": 1.0, "end_tap": 2.0}))
        elif board.along_tap_hz is not None:
            bar = size | {"length": 3.0, "thickness": -3.0, "along_tap": 2.0}
            found.append((Look({"EL": 1.0}, _TAP), bar))
    if choice.e_across_mpa is None and board.cross_tap_hz is not None:
        across = {"mass": 1.0, "length": -1.0, "width": 3.0, "thickness": -3.0, "moisture": -dry}
        weights = across_weights(row, choice.ring_angle_deg)
        found.append((Look(weights, _TAP), across | {"cross_tap": 2.0}))
    rows = np.array([[use.get(r, 0.0) * raw[r] for r in _RAW] for _, use in found])
    own = np.diag([look.spread**2 for look, _ in found])
    noise = rows @ rows.T + own if found else np.zeros((0, 0))
    return tuple(look for look, _ in found), noise


def _raw_spread(board: BoardMeasure, known: Known, where: str) -> dict[str, float]:
    """Relative spread of each raw measure; moisture in percent of moisture."""
    values = {
        "mass": board.mass_g,
        "length": board.length_mm,
        "width": board.width_mm,
        "thickness": board.thickness_mm,
        "end_tap": board.end_tap_hz,
        "along_tap": board.along_tap_hz,
        "cross_tap": board.cross_tap_hz,
    }
    usual = {"mass": _MASS, "end_tap": _HERTZ, "along_tap": _HERTZ, "cross_tap": _HERTZ}
    out = {}
    for name, value in values.items():
        source = known.get(f"{where}.board.{name}")
        if value is None or source is None or source.spread is None:
            out[name] = usual.get(name, _SIZE)
        else:
            out[name] = source.spread / value
    moist = known.get(f"{where}.board.moisture")
    out["moisture"] = 0.0
    if board.moisture_percent is not None:
        told = moist.spread if moist is not None else None
        out["moisture"] = _MOISTURE if told is None else told
    return out
