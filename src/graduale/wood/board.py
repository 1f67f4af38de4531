"""The maker's own board: density and moduli from mass, size, taps and moisture."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from graduale.base.findings import refuse
from graduale.records.instrument import BoardMeasure
from graduale.wood.species import Species

SHEAR_FACTOR = 5.0 / 6.0
_FREE_FREE = 22.373285448  # (beta L)^2 of a free bar's first bending mode


@dataclass(frozen=True)
class Measured:
    """What a board gave, at 12 % moisture where the moisture was measured; None: not measured."""

    density_kg_m3: float | None
    e_along_mpa: float | None
    e_across_mpa: float | None


def density_of(mass_g: float, length_mm: float, width_mm: float, thickness_mm: float) -> float:
    """kg/m3 of a rectangular board."""
    return mass_g * 1e6 / (length_mm * width_mm * thickness_mm)


def end_tap_modulus(density_kg_m3: float, length_mm: float, hz: float) -> float:
    """MPa from the first lengthwise mode of a free bar: E = rho (2 l f)^2."""
    return density_kg_m3 * (2.0 * length_mm * 1e-3 * hz) ** 2 * 1e-6


def static_flex_modulus(
    force_n: float, sag_mm: float, span_mm: float, width_mm: float, thickness_mm: float
) -> float:
    """MPa of a strip on two rests with the force in the middle: E = F l^3 / (4 b h^3 w)."""
    return force_n * span_mm**3 / (4.0 * width_mm * thickness_mm**3 * sag_mm)


def euler_tap_modulus(
    density_kg_m3: float, length_mm: float, thickness_mm: float, hz: float
) -> float:
    """MPa of a free strip without shear: f1 = 22.373/(2 pi l^2) sqrt(EI/(rho A))."""
    omega = 2.0 * math.pi * hz
    length, height = length_mm * 1e-3, thickness_mm * 1e-3
    stiffness = (omega / _FREE_FREE) ** 2 * length**4 * 12.0 / height**2
    return density_kg_m3 * stiffness * 1e-6


def free_bar_hz(
    e_mpa: float, g_mpa: float, density_kg_m3: float, length_mm: float, thickness_mm: float
) -> float:
    """First bending mode (Hz) of a free bar with shear and rotary inertia.

    Frequency equation of T. C. Huang, J. Appl. Mech. 28 (1961), free-free, shear factor 5/6.
    """
    slender = (thickness_mm / length_mm) ** 2
    r2 = slender / 12.0
    s2 = r2 * e_mpa / (SHEAR_FACTOR * g_mpa)
    low = 0.02 * _FREE_FREE
    grid = np.linspace(low, _FREE_FREE * 1.0001, 400)
    values = [_huang(b, r2, s2) for b in grid]
    place = next((i for i in range(len(grid) - 1) if values[i] * values[i + 1] <= 0.0), None)
    if place is None:
        raise ValueError("no bending mode found: the bar is too short for its thickness")
    root = brentq(_huang, grid[place], grid[place + 1], args=(r2, s2), xtol=1e-12)
    speed = math.sqrt(e_mpa * 1e6 / density_kg_m3 * slender / 12.0) / (length_mm * 1e-3)
    return float(root) * speed / (2.0 * math.pi)


def _huang(b: float, r2: float, s2: float) -> float:
    """Left side of the free-free equation; b = omega l^2 sqrt(rho A/(E I))."""
    root = math.sqrt((r2 - s2) ** 2 + 4.0 / (b * b))
    alpha2, beta2 = (root - (r2 + s2)) / 2.0, (root + (r2 + s2)) / 2.0
    if alpha2 <= 0.0:
        return math.nan
    a, c = b * math.sqrt(alpha2), b * math.sqrt(beta2)
    weight = b / math.sqrt(1.0 - b * b * r2 * s2)
    weight *= b * b * r2 * (r2 - s2) ** 2 + (3.0 * r2 - s2)
    value = 2.0 - 2.0 * math.cosh(a) * math.cos(c) + weight * math.sinh(a) * math.sin(c)
    return value / math.cosh(a)


def bending_tap_modulus(
    density_kg_m3: float, length_mm: float, thickness_mm: float, hz: float, shear_ratio: float
) -> float:
    """MPa of a free strip from its first bending mode, corrected for shear; shear_ratio = E/G.

    Euler's formula reads 5.6 % low at l/h = 20 for wood; this one does not.
    """
    trial = free_bar_hz(1e4, 1e4 / shear_ratio, density_kg_m3, length_mm, thickness_mm)
    return 1e4 * (hz / trial) ** 2


def to_twelve_percent(
    modulus_mpa: float, moisture_percent: float, ratio: float, intersection_percent: float
) -> float:
    """The modulus at 12 % from one at another moisture; ratio = P12/Pgreen of the species.

    Inverse of `at_moisture` with the species' ratio held fixed.
    """
    return modulus_mpa / at_moisture(1.0, 1.0 / ratio, intersection_percent, moisture_percent)


def at_moisture(
    p12: float, green: float, intersection_percent: float, moisture_percent: float
) -> float:
    """P = P12 (P12/Pg)^((12-M)/(Mp-12)); above Mp the green value. Not for tension across.

    Source: Wood Handbook FPL-GTR-190 eq. 5-3.
    """
    moisture = min(moisture_percent, intersection_percent)
    power = (12.0 - moisture) / (intersection_percent - 12.0)
    return float(p12 * (p12 / green) ** power)


def measured_board(board: BoardMeasure, row: Species, where: str) -> Measured:
    """Density and moduli that the board's own figures give.

    The end tap beats the bending tap along the grain (it needs no shear correction). Refused when
    a figure is not above zero, or a tap was given without the figures it needs.
    """
    _check(board, where)
    size = (board.length_mm, board.width_mm, board.thickness_mm)
    density = None
    if board.mass_g is not None and all(v is not None for v in size):
        density = density_of(board.mass_g, *(float(v) for v in size if v is not None))
    along = _along(board, density, row, where)
    across = _across(board, density, row, where)
    return Measured(
        None if density is None else _dry_density(density, board.moisture_percent),
        _moist(along, board, row),
        _moist(across, board, row),
    )


def _check(board: BoardMeasure, where: str) -> None:
    for name, value in vars(board).items():
        if value is not None and not (math.isfinite(value) and value > 0.0):
            raise refuse(
                "board", f"{where}.board.{name}", f"{value} cannot be; measure again, above zero."
            )


def _need(density: float | None, size: float | None, what: str, where: str) -> tuple[float, float]:
    if density is None or size is None:
        raise refuse(
            "board",
            f"{where}.board",
            f"the {what} needs the board's mass, length, width and thickness; give all four.",
        )
    return density, size


def _along(board: BoardMeasure, density: float | None, row: Species, where: str) -> float | None:
    if board.end_tap_hz is not None:
        rho, length = _need(density, board.length_mm, "end tap", where)
        return end_tap_modulus(rho, length, board.end_tap_hz)
    if board.along_tap_hz is not None:
        rho, length = _need(density, board.length_mm, "bending tap", where)
        ratio = row.moduli_mpa["EL"] / row.moduli_mpa["GLT"]
        thick = board.thickness_mm or 0.0
        return bending_tap_modulus(rho, length, thick, board.along_tap_hz, ratio)
    return None


def _across(board: BoardMeasure, density: float | None, row: Species, where: str) -> float | None:
    if board.cross_tap_hz is None:
        return None
    rho, width = _need(density, board.width_mm, "cross tap", where)
    ratio = row.moduli_mpa["ER"] / row.moduli_mpa["GRT"]
    return bending_tap_modulus(rho, width, board.thickness_mm or 0.0, board.cross_tap_hz, ratio)


def _moist(modulus: float | None, board: BoardMeasure, row: Species) -> float | None:
    if modulus is None or board.moisture_percent is None:
        return modulus
    return to_twelve_percent(
        modulus, board.moisture_percent, row.moisture_ratio, row.moisture_intersection_percent
    )


def _dry_density(density: float, moisture_percent: float | None) -> float:
    """Density at 12 % moisture: mass follows 1 + M/100; the change of size is left out."""
    if moisture_percent is None:
        return density
    return density * 1.12 / (1.0 + moisture_percent / 100.0)
