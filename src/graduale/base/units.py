"""The one place where units are converted.

Inside the house: mm, N, MPa, g, Hz, kg/m3, degrees. Where masses meet forces: tonne, mm, s, so that
1 N = 1 t mm/s2 and 1 MPa = 1 N/mm2. Factors are exact by definition (SI Brochure, 9th edition;
the inch of 25.4 mm and the pound of 0.45359237 kg by the agreement of 1959).
"""

from typing import Final

MM_PER_INCH: Final = 25.4
STANDARD_GRAVITY_M_S2: Final = 9.80665
G_PER_OUNCE: Final = 28.349523125


def mm_from_inch(inches: float) -> float:
    """Length in mm of a length in inches."""
    return inches * MM_PER_INCH


def inch_from_mm(mm: float) -> float:
    """Length in inches of a length in mm."""
    return mm / MM_PER_INCH


def t_mm3_from_kg_m3(density_kg_m3: float) -> float:
    """Density in t/mm3, the one to use beside MPa and mm: frequencies then come out in Hz."""
    return density_kg_m3 * 1e-12


def kg_m3_from_t_mm3(density_t_mm3: float) -> float:
    """Density in kg/m3 of a density in t/mm3."""
    return density_t_mm3 * 1e12


def g_from_t(mass_t: float) -> float:
    """Mass in g of a mass in tonnes."""
    return mass_t * 1e6


def t_from_g(mass_g: float) -> float:
    """Mass in tonnes of a mass in g."""
    return mass_g * 1e-6


def kgf_from_n(force_n: float) -> float:
    """Force in kilograms-force, the figure that makers compare with."""
    return force_n / STANDARD_GRAVITY_M_S2
