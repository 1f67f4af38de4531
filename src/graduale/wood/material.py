"""One board of wood: moduli, strength, spread, how each is known; its stiffness in any facet."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.records.instrument import How, Provenance, WoodChoice
from graduale.wood.board import Measured, measured_board
from graduale.wood.limits import Strength
from graduale.wood.rotate import across_modulus, condensed, coupling, turned_compliance
from graduale.wood.rotate import board_axes as board_axes
from graduale.wood.rotate import stress_to_board as stress_to_board
from graduale.wood.rotate import to_body as to_body
from graduale.wood.species import MODULI, POISSON, STRENGTHS, Species, species

DENSITY_RANGE = (80.0, 1400.0)  # kg/m3: balsa to lignum vitae
_MEASURED_SPREAD = 0.03  # relative, of a modulus from a tap of the maker's own board [no source]
_GIVEN_SPREAD = 0.05  # of a modulus or density typed without a spread [no source]
_RATIO_SPREAD = 0.12  # what stays of a modulus that follows another one by ratio [no source]


@dataclass(frozen=True)
class Wood:
    """Moduli MPa in board axes, density kg/m3, strength MPa; `spread` relative, one deviation.

    nu_xy is the strain in y caused by stress in x. `known` is keyed as `spread`: density, EL ...
    GRT, nu_LR nu_LT nu_RT, and the names of the strengths. shrink_per_percent: strain L, R, T
    per percent of moisture.
    """

    name: str
    density_kg_m3: float
    el: float
    er: float
    et: float
    glr: float
    glt: float
    grt: float
    nu_lr: float
    nu_lt: float
    nu_rt: float
    strength: Strength
    shrink_per_percent: tuple[float, float, float]
    spread: Mapping[str, float]
    known: Mapping[str, Provenance]

    def compliance(self) -> Floats:
        """(6, 6) strain over stress, 1/MPa, order [LL, RR, TT, RT, LT, LR].

        Refused when a modulus is not above zero or the matrix is not positive definite.
        """
        return compliance_of(
            (self.el, self.er, self.et, self.glr, self.glt, self.grt),
            (self.nu_lr, self.nu_lt, self.nu_rt),
            self.name,
        )

    def moduli(self) -> Mapping[str, float]:
        """The six moduli by their handbook names, MPa."""
        values = (self.el, self.er, self.et, self.glr, self.glt, self.grt)
        return dict(zip(MODULI, values, strict=True))


def compliance_of(
    moduli: tuple[float, float, float, float, float, float],
    poisson: tuple[float, float, float],
    where: str,
) -> Floats:
    """Compliance from EL ER ET GLR GLT GRT (MPa) and nu LR LT RT; `where` heads the errors."""
    el, er, et, glr, glt, grt = moduli
    if not all(math.isfinite(v) and v > 0.0 for v in moduli):
        raise refuse("modulus", where, "every modulus must be a number above zero; correct it.")
    lr, lt, rt = -poisson[0] / el, -poisson[1] / el, -poisson[2] / er
    out = np.diag([1 / el, 1 / er, 1 / et, 1 / grt, 1 / glt, 1 / glr])
    out[0, 1] = out[1, 0] = lr
    out[0, 2] = out[2, 0] = lt
    out[1, 2] = out[2, 1] = rt
    if not np.all(np.isfinite(out)) or not _positive(out[:3, :3]):
        raise refuse(
            "poisson",
            where,
            f"the Poisson ratios LR {poisson[0]:g}, LT {poisson[1]:g}, RT {poisson[2]:g} do not "
            "fit the moduli (the wood would give work for nothing); lower them or leave them out.",
        )
    return out


def _positive(block: Floats) -> bool:
    scale = 1.0 / np.sqrt(np.diag(block))
    return bool(np.linalg.eigvalsh(block * scale[:, None] * scale[None, :])[0] > 1e-9)


def facet_stiffness(wood: Wood, axes: ArrayLike, triads: ArrayLike) -> tuple[Floats, Floats]:
    """The block's stiffness in m facets. axes (3, 3) or (m, 3, 3) rows L, R, T; triads (m, 3, 3).

    Axes and triads stand in one frame (the plate's outward frame). Returns Q (m, 3, 3) plane stress
    [11, 22, 12] and H (m, 2, 2) transverse shear [1n, 2n] without shear factor, MPa.
    """
    return condensed(turned_compliance(wood.compliance(), axes, triads))


def facet_coupling(wood: Wood, axes: ArrayLike, triads: ArrayLike) -> Floats:
    """In-plane strain [11, 22, 12] by unit transverse shear stress [1n, 2n] in m facets, (m, 3, 2)
    1/MPa: not zero where the grain slopes in the facet."""
    return coupling(turned_compliance(wood.compliance(), axes, triads))


def wood_of(choice: WoodChoice, where: str) -> Wood:
    """The wood of a choice: table, then the board's taps, then what the maker gives outright.

    `where` ('top.wood') heads the sentences. Unmeasured moduli follow density and the measured
    moduli by ratio. Refused: unknown species, impossible numbers, an indefinite compliance.
    """
    row = species(choice.species)
    measured = measured_board(choice.board, row, where)
    draft = _Draft(row)
    draft.set_density(_first(choice.density_kg_m3, measured.density_kg_m3), choice, where)
    _across_and_along(draft, choice, measured, where)
    for name, value in choice.moduli_mpa.items():
        draft.set_modulus(_named(name, MODULI, where), value, "given", _GIVEN_SPREAD, where)
    for name, value in choice.poisson.items():
        draft.poisson[_named(name, POISSON, where)] = _number(value, f"{where}.poisson.{name}")
        draft.known[f"nu_{name}"] = Provenance("given", "the instrument file")
    wood = draft.wood()
    compliance_of(_moduli(draft.moduli), _poisson(draft.poisson), where)
    return wood


def _first(given: float | None, measured: float | None) -> float | None:
    return given if given is not None else measured


def _across_and_along(draft: "_Draft", choice: WoodChoice, board: Measured, where: str) -> None:
    ring = choice.ring_angle_deg
    if board.e_along_mpa is not None and choice.e_along_mpa is None:
        draft.set_along(board.e_along_mpa, "measured", _MEASURED_SPREAD)
    if choice.e_along_mpa is not None:
        good = _above_zero(choice.e_along_mpa, f"{where}.e_along")
        draft.set_along(good, "given", _GIVEN_SPREAD)
    if board.e_across_mpa is not None and choice.e_across_mpa is None:
        draft.set_across(board.e_across_mpa, ring, "measured", _MEASURED_SPREAD)
    if choice.e_across_mpa is not None:
        good = _above_zero(choice.e_across_mpa, f"{where}.e_across")
        draft.set_across(good, ring, "given", _GIVEN_SPREAD)


class _Draft:
    """A wood being filled in; made and finished inside `wood_of`."""

    def __init__(self, row: Species) -> None:
        self.row = row
        self.density = row.density_kg_m3
        self.moduli = dict(row.moduli_mpa)
        self.poisson = dict(row.poisson)
        self.strength = row.strength
        self.spread = dict(row.spread)
        names = ("density", *MODULI, *(f"nu_{p}" for p in POISSON), *STRENGTHS)
        self.known = {name: self._table(name) for name in names}

    def _table(self, name: str) -> Provenance:
        if name == "rolling_shear":
            return Provenance("assumed", "0.23 (0.18-0.28) of shear along the grain, from memory")
        if any(word in self.row.assumed for word in _WORDS.get(name, ("all values",))):
            return Provenance("assumed", f"{self.row.source}; {self.row.assumed}")
        return Provenance("published", self.row.source)

    def set_density(self, value: float | None, choice: WoodChoice, where: str) -> None:
        if value is None:
            return
        good = _number(value, f"{where}.density")
        if not DENSITY_RANGE[0] <= good <= DENSITY_RANGE[1]:
            raise refuse(
                "density",
                f"{where}.density",
                f"{good:g} kg/m3 is no wood; give a value between {DENSITY_RANGE[0]:g} and "
                f"{DENSITY_RANGE[1]:g} (check mass and size of the board).",
            )
        ratio = good / self.density
        how: How = "given" if choice.density_kg_m3 is not None else "measured"
        self.density = good
        self.known["density"] = Provenance(how, "the maker")
        self._scale_by_density(ratio)

    def _scale_by_density(self, ratio: float) -> None:
        """Powers of table 5-11; the spread that density explained is taken out."""
        power = self.row.exponent
        before, self.spread["density"] = self.spread["density"], 0.01
        for name in MODULI:
            self.moduli[name] *= ratio ** power["E"]
            self.spread[name] = _less(self.spread[name], power["E"] * before)
        factors = {n: ratio ** power.get(n, power["shear_along"]) for n in STRENGTHS}
        self.strength = Strength(**{n: getattr(self.strength, n) * factors[n] for n in STRENGTHS})
        for name in STRENGTHS:
            explained = power.get(name, power["shear_along"]) * before
            self.spread[name] = _less(self.spread[name], explained)

    def set_along(self, value: float, how: How, spread: float) -> None:
        """EL known: all other moduli keep their ratios to it."""
        factor = value / self.moduli["EL"]
        for name in MODULI:
            self.moduli[name] *= factor
            self.spread[name] = math.hypot(_less(self.spread[name], self.spread["EL"]), 0.10)
        self._note("EL", how, spread)

    def set_across(self, value: float, ring_angle_deg: float, how: How, spread: float) -> None:
        """Modulus across the board known: ER, ET, GRT share the factor that meets it."""
        m = self.moduli
        now = across_modulus(m["ER"], m["ET"], m["GRT"], self.poisson["RT"], ring_angle_deg)
        for name in ("ER", "ET", "GRT"):
            m[name] *= value / now
            self.spread[name] = math.hypot(_RATIO_SPREAD, spread)
        self._note("ET" if abs(ring_angle_deg) > 45.0 else "ER", how, spread)

    def set_modulus(self, name: str, value: float, how: How, spread: float, where: str) -> None:
        self.moduli[name] = _above_zero(value, f"{where}.moduli.{name}")
        self._note(name, how, spread)

    def _note(self, name: str, how: How, spread: float) -> None:
        self.spread[name] = spread
        known = Provenance(how, "the maker", spread * self.moduli[name])
        self.known[name] = known

    def wood(self) -> Wood:
        m, p = self.moduli, self.poisson
        return Wood(
            self.row.name,
            self.density,
            *_moduli(m),
            *_poisson(p),
            self.strength,
            self.row.shrink_per_percent,
            MappingProxyType(dict(self.spread)),
            MappingProxyType(dict(self.known)),
        )


_WORDS = {
    **dict.fromkeys(MODULI[1:], ("all values", "elastic ratios")),
    **{f"nu_{p}": ("all values", "elastic ratios") for p in POISSON},
    **dict.fromkeys(STRENGTHS, ("all values", "strength")),
    "GRT": ("all values", "elastic ratios", "GRT"),
    "tens_across": ("all values", "strength", "tension across"),
}


def _moduli(m: Mapping[str, float]) -> tuple[float, float, float, float, float, float]:
    return (m["EL"], m["ER"], m["ET"], m["GLR"], m["GLT"], m["GRT"])


def _poisson(p: Mapping[str, float]) -> tuple[float, float, float]:
    return (p["LR"], p["LT"], p["RT"])


def _less(spread: float, explained: float) -> float:
    """Relative spread left after a part is explained; at least a third stays."""
    return math.sqrt(max(spread * spread - explained * explained, (spread / 3.0) ** 2))


def _named(name: str, allowed: tuple[str, ...], where: str) -> str:
    if name not in allowed:
        raise refuse(
            "wood-key", where, f"'{name}' is not known here; use one of: {', '.join(allowed)}."
        )
    return name


def _number(value: float, where: str) -> float:
    if not math.isfinite(value):
        raise refuse("not-a-number", where, "this is not a number; write one or leave it out.")
    return float(value)


def _above_zero(value: float, where: str) -> float:
    if not _number(value, where) > 0.0:
        raise refuse("modulus", where, f"{value:g} MPa cannot be; give a value above zero.")
    return float(value)
