"""Pitch, gauge and length -> tension; stress against the breaking limit of the material."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from graduale.base.findings import Finding, refuse
from graduale.base.tables import table
from graduale.records.instrument import String, Strings


@dataclass(frozen=True)
class Material:
    """kg/m3 and tensile limits in MPa; None where the material has none of its own."""

    key: str
    density_kg_m3: float | None
    low_mpa: float | None
    high_mpa: float | None
    source: str


@cache
def materials() -> Mapping[str, Material]:
    """All rows of `data/materials.toml`."""
    return {
        key: Material(
            key, row.get("density"), row.get("low_mpa"), row.get("high_mpa"), row["source"]
        )
        for key, row in table("graduale.strings", "materials").items()
    }


def material(name: str, where: str) -> Material:
    """The row of a material as typed. Refused when unknown."""
    row = materials().get(name.strip().lower())
    if row is None:
        known = ", ".join(materials())
        raise refuse(
            "unknown-string", where, f"'{name}' is no string material here; use one of: {known}."
        )
    return row


def mass_per_length_g_m(string: String, where: str) -> float:
    """g/m: as given, or of a solid round string. Refused when neither is there."""
    if string.mass_per_length_g_m is not None:
        return _above_zero(string.mass_per_length_g_m, f"{where}.mass_per_length")
    row = material(string.material, where)
    if string.gauge_mm is None or row.density_kg_m3 is None:
        raise refuse(
            "string-mass",
            where,
            f"string {string.note} of {string.material} needs a mass per length or the packet's "
            "tension (a gauge is enough only for a solid string).",
        )
    gauge = _above_zero(string.gauge_mm, f"{where}.gauge")
    return row.density_kg_m3 * math.pi / 4.0 * gauge**2 * 1e-3


def tension_n(string: String, length_mm: float, where: str = "strings") -> float:
    """N: the packet's figure, else mu (2 L f)^2. Refused for impossible numbers."""
    _above_zero(string.frequency_hz, f"{where}.frequency")
    _above_zero(length_mm, f"{where}.length")
    if string.tension_n is not None:
        return _above_zero(string.tension_n, f"{where}.tension")
    mu = mass_per_length_g_m(string, where) * 1e-3
    return mu * (2.0 * length_mm * 1e-3 * string.frequency_hz) ** 2


def stress_mpa(string: String, length_mm: float, where: str = "strings") -> float | None:
    """Tensile stress at pitch: T/A of a solid string, else 4 rho (f L)^2; None: not known."""
    row = material(string.material, where)
    if row.low_mpa is None or row.density_kg_m3 is None:
        return None
    if string.gauge_mm is not None and (
        string.tension_n is not None or string.mass_per_length_g_m is not None
    ):
        return tension_n(string, length_mm, where) / (math.pi / 4.0 * string.gauge_mm**2)
    return 4.0 * row.density_kg_m3 * (string.frequency_hz * length_mm * 1e-3) ** 2 * 1e-6


def limit_findings(strings: Strings) -> tuple[Finding, ...]:
    """A warning for each string near its breaking limit or beyond it."""
    found = []
    for number, string in enumerate(strings.strings, start=1):
        where = f"strings.string[{number}] ({string.note})"
        stress, row = stress_mpa(string, strings.length_mm, where), material(string.material, where)
        if stress is None or row.low_mpa is None or row.high_mpa is None:
            continue
        if stress > row.high_mpa:
            found.append(_beyond(string, strings.length_mm, stress, row.high_mpa, where))
        elif stress > row.low_mpa:
            found.append(_near(string, stress, row.low_mpa, row.high_mpa, where))
    return tuple(found)


def _beyond(string: String, length_mm: float, stress: float, high: float, where: str) -> Finding:
    longest = length_mm * math.sqrt(high / stress)
    return Finding(
        "warning",
        "string-breaks",
        where,
        f"at {stress:.0f} MPa this {string.material} string breaks (limit about {high:.0f}); tune "
        f"it lower, or make the string length shorter than {longest:.0f} mm.",
    )


def _near(string: String, stress: float, low: float, high: float, where: str) -> Finding:
    return Finding(
        "warning",
        "string-near-limit",
        where,
        f"at {stress:.0f} MPa this {string.material} string is near its breaking limit "
        f"({low:.0f} to {high:.0f} MPa); expect it to break often, or tune it lower.",
    )


def _above_zero(value: float, where: str) -> float:
    if not (math.isfinite(value) and value > 0.0):
        raise refuse("string-number", where, f"{value:g} cannot be; give a number above zero.")
    return float(value)
