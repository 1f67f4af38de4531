"""Numbers as a maker writes them: the digits that the tool has, and a unit on each.

A measurement is written without a spread ('2.55 mm'), an estimate with it ('341 ± 15 Hz').
"""

import math
from statistics import NormalDist
from typing import Literal

from graduale.base.units import inch_from_mm

Units = Literal["mm", "inch"]

MINUS = "−"
_DIGITS = {"mm": 1, "g": 1, "Hz": 0, "N": 0, "MPa": 1, "°": 0, "%": 0, "": 2, "kg/m3": 0}


def number(value: float, digits: int) -> str:
    """`value` with fixed `digits` after the point and a true minus sign; never '-0'.

    Errors: ValueError when the value is not finite.
    """
    if not math.isfinite(value):
        raise ValueError("a number that is not finite has no place in a text")
    text = f"{value:.{digits}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0 else MINUS + text[1:]
    return text


def length(mm: float, units: Units = "mm", digits: int = 1) -> str:
    """A length given in mm as '2.6 mm', or in inches with one digit more: '0.102 in'.

    `digits` are those of the mm figure; an inch figure gets two more, for it is finer by 25.4.
    """
    if units == "mm":
        return f"{number(mm, digits)} mm"
    return f"{number(inch_from_mm(mm), digits + 2)} in"


def quantity(value: float, unit: str, digits: int | None = None) -> str:
    """`value` and its unit: '62.5 g', '20°', '9 %'."""
    places = _DIGITS.get(unit, 2) if digits is None else digits
    return number(value, places) + _tail(unit)


def estimate(value: float, spread: float, unit: str, confidence: float = 0.9) -> str:
    """An estimate with its interval: '341 ± 15 Hz'; `spread` is one standard deviation.

    The half width shown is that of the normal interval of `confidence`, with two digits below 100;
    the value is rounded to the same place. Errors: ValueError on a negative spread.
    """
    if spread < 0:
        raise ValueError("a spread is not negative")
    if spread == 0:
        return quantity(value, unit)
    half = spread * _normal_half_width(confidence)
    digits = max(0, 1 - math.floor(math.log10(half))) if half < 10 else 0
    return f"{number(value, digits)} ± {number(half, digits)}{_tail(unit)}"


def _tail(unit: str) -> str:
    return unit if unit in ("", "°") else f" {unit}"


def _normal_half_width(confidence: float) -> float:
    return NormalDist().inv_cdf(0.5 + confidence / 2)
