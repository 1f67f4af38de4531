"""Figures as they stand on paper: lengths come in mm, are shown in mm or in inches.

An inch figure has two digits more than the mm figure, for the inch is 25.4 times as long.
"""

from graduale.base.arrays import GridMap
from graduale.base.units import MM_PER_INCH, inch_from_mm
from graduale.words.numbers import Units

UNIT_NAMES: dict[Units, str] = {"mm": "mm", "inch": "inches"}
LEVEL_STEPS_MM: dict[Units, float] = {"mm": 0.25, "inch": 0.01 * MM_PER_INCH}
COARSE_STEPS_MM: dict[Units, float] = {"mm": 0.5, "inch": 0.02 * MM_PER_INCH}  # of small maps


def short_unit(units: Units) -> str:
    """'mm' or 'in'."""
    return "mm" if units == "mm" else "in"


def figure(mm: float, units: Units, digits: int = 1) -> str:
    """A length in mm without its unit: '3.2', or '0.126'; `digits` are those of the mm figure."""
    return f"{mm:.{digits}f}" if units == "mm" else f"{inch_from_mm(mm):.{digits + 2}f}"


def bare(mm: float, units: Units) -> str:
    """A length in mm without its unit, in mm with no digit too many: '0.75', or '0.030'."""
    return f"{mm:g}" if units == "mm" else figure(mm, units)


def size(mm: float, units: Units) -> str:
    """A length in mm with its unit: '4 mm', or '0.157 in'."""
    return f"{bare(mm, units)} {short_unit(units)}"


def level_words(mm: float, units: Units) -> str:
    """The number of a level line: '2.25', '2.5', or '0.12'."""
    if units == "inch":
        inches = inch_from_mm(mm)
        return f"{inches:.{2 if abs(inches * 100 - round(inches * 100)) < 1e-3 else 3}f}"
    return f"{mm:.2f}" if abs(mm * 2 - round(mm * 2)) > 1e-6 else f"{mm:.1f}"


def shown(grid: GridMap, units: Units) -> GridMap:
    """A map of lengths in mm with its values (nx, ny) in `units`."""
    if units == "mm":
        return grid
    return GridMap(grid.x_mm, grid.y_mm, inch_from_mm(1.0) * grid.values)
