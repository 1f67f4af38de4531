"""One number as a maker writes it: plain, with a unit, or a table with spread and source.

    60        "60 mm"        "2 3/8 in"        "60 ± 1 mm"
    { value = 60, spread = 1, source = "catalogue of 1986", how = "published" }
    { value = 60, plus_minus = 1 }

`spread` is one standard deviation. A maker's '± a' means 'surely within a', so its spread is
a/√3 (rectangular distribution, JCGM 100:2008, 4.3.7).
"""

import math
import re
from dataclasses import dataclass
from typing import Any, cast, get_args

from graduale.base.units import G_PER_OUNCE, MM_PER_INCH, STANDARD_GRAVITY_M_S2
from graduale.records.instrument import How

LENGTH, ANGLE, MASS, HERTZ = "length", "angle", "mass", "frequency"
FORCE, DENSITY, MODULUS, LINE, PERCENT, PLAIN = (
    "force",
    "density",
    "modulus",
    "mass per length",
    "percent",
    "number",
)

UNITS: dict[str, dict[str, float]] = {
    LENGTH: {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "in": MM_PER_INCH,
        "inch": MM_PER_INCH,
        "inches": MM_PER_INCH,
        '"': MM_PER_INCH,
        "″": MM_PER_INCH,
    },
    ANGLE: {"deg": 1.0, "°": 1.0},
    MASS: {"g": 1.0, "kg": 1000.0, "oz": G_PER_OUNCE},
    HERTZ: {"Hz": 1.0, "kHz": 1000.0},
    FORCE: {"N": 1.0, "kgf": STANDARD_GRAVITY_M_S2, "lbf": 4.4482216152605, "lb": 4.4482216152605},
    DENSITY: {"kg/m3": 1.0, "kg/m³": 1.0, "g/cm3": 1000.0, "g/cm³": 1000.0},
    MODULUS: {"MPa": 1.0, "GPa": 1000.0, "N/mm2": 1.0, "N/mm²": 1.0},
    LINE: {"g/m": 1.0, "mg/mm": 1.0, "kg/m": 1000.0},
    PERCENT: {"%": 1.0, "percent": 1.0},
    PLAIN: {},
}
HOWS = tuple(h for h in get_args(How) if h != "derived")
_KEYS = ("value", "spread", "plus_minus", "source", "how")

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_TEXT = re.compile(
    rf"^\s*(?:(?P<whole>\d+)\s+)?(?:(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<number>{_NUMBER}))"
    rf"(?:\s*(?:±|\+/-|\+-)\s*(?P<around>{_NUMBER}))?\s*(?P<unit>[^\d\s]\S*)?\s*$"
)


@dataclass(frozen=True)
class Given:
    """One value in the program's own unit, with how it is known (`spread` None: not told)."""

    value: float
    how: How = "given"
    source: str = ""
    spread: float | None = None


class Unreadable(Exception):
    """What was written is no such number; the text is a whole sentence with its mend."""


def read_quantity(raw: Any, dimension: str, scale: float) -> Given:
    """The quantity that `raw` (number, text or table) means, in the program's own unit.

    `dimension` is a key of UNITS; `scale` turns a number without unit into the own unit (25.4 in
    a file in inches). Raises Unreadable.
    """
    if isinstance(raw, dict):
        return _from_table(raw, dimension, scale)
    value, around = _amount(raw, dimension, scale)
    return Given(value, spread=None if around is None else around / math.sqrt(3.0))


def _from_table(raw: dict[str, Any], dimension: str, scale: float) -> Given:
    for key in raw:
        if key not in _KEYS:
            raise Unreadable(
                f"'{key}' is not known inside a value; write value, spread or "
                "plus_minus, source, how"
            )
    if "value" not in raw:
        raise Unreadable(
            "the table has no value; write { value = ..., spread = ..., source = ... }"
        )
    if "spread" in raw and "plus_minus" in raw:
        raise Unreadable("spread and plus_minus are both given; keep one of them")
    value, around = _amount(raw["value"], dimension, scale)
    spread = None if around is None else around / math.sqrt(3.0)
    for key, factor in (("spread", 1.0), ("plus_minus", 1.0 / math.sqrt(3.0))):
        if key in raw:
            spread = factor * _amount(raw[key], dimension, scale)[0]
    if spread is not None and spread < 0.0:
        raise Unreadable("the spread is below zero; write it as a positive number")
    return Given(value, _how(raw.get("how", "given")), _source(raw.get("source", "")), spread)


def _how(raw: Any) -> How:
    if raw not in HOWS:
        raise Unreadable(f"how = {shown(raw)} is not known; write one of {', '.join(HOWS)}")
    return cast(How, raw)


def _source(raw: Any) -> str:
    if not isinstance(raw, str):
        raise Unreadable("source must be text in quotation marks")
    return " ".join(raw.split())[:400]


def _amount(raw: Any, dimension: str, scale: float) -> tuple[float, float | None]:
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise Unreadable(f"{shown(raw)} is no {dimension}; write a number")
    if isinstance(raw, str):
        return _from_text(raw, dimension, scale)
    try:
        value = float(raw)
    except OverflowError:
        value = math.inf
    return finite(value) * scale, None


def finite(value: float) -> float:
    """`value` unless it is NaN or infinite (Unreadable)."""
    if not math.isfinite(value):
        raise Unreadable(
            f"{value} is no number to work with; write the measured value, or leave the key out"
        )
    return value


def _from_text(raw: str, dimension: str, scale: float) -> tuple[float, float | None]:
    found = _TEXT.match(raw) if len(raw) <= 80 else None
    units = UNITS[dimension]
    example = f"60 {next(iter(units))}" if units else "0.4"
    if found is None:
        raise Unreadable(
            f'{shown(raw)} is no {dimension}; write a number, or text such as "{example}"'
        )
    unit = found["unit"]
    if unit is None:
        factor = scale
    elif unit in units:
        factor = units[unit]
    else:
        known = ", ".join(units) or "no unit"
        raise Unreadable(f"the unit in {shown(raw)} is not one for a {dimension}; use {known}")
    around = found["around"]
    return _parts(found) * factor, None if around is None else _float(around) * factor


def _parts(found: re.Match[str]) -> float:
    whole = float(found["whole"] or 0)
    if found["number"] is not None:
        if found["whole"] is not None:
            raise Unreadable(f"{shown(found.string)} holds two numbers; write one")
        return _float(found["number"])
    if float(found["bottom"]) == 0.0:
        raise Unreadable(f"{shown(found.string)} divides by zero; write the measured value")
    return finite(whole + float(found["top"]) / float(found["bottom"]))


def _float(text: str) -> float:
    return finite(float(text.replace(",", ".")))


def shown(raw: Any) -> str:
    """What was written, cut to a readable length."""
    return printable(repr(raw) if not isinstance(raw, str) else f'"{raw}"')


def printable(text: str, longest: int = 48) -> str:
    """The text in letters that a terminal may be given, cut to `longest`."""
    plain = "".join(c if c.isprintable() else "·" for c in text[: longest + 1])
    return plain if len(plain) <= longest else plain[: longest - 3] + "..."
