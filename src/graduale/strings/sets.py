"""The same notes on strings of another kind: gut, steel, synthetic."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

from graduale.base.findings import refuse
from graduale.base.tables import table
from graduale.records.instrument import String, Strings
from graduale.records.notes import frequency_of
from graduale.strings.tension import material, stress_mpa, tension_n

ISO_16_HZ = 440.0
FARTHEST = 1.55  # ratio of frequencies, a fifth: farther off no string of the set stands for a note


@dataclass(frozen=True)
class StringSet:
    """One kind of strings: its violin set at A = 440 Hz, and where the figures come from."""

    key: str
    title: str
    strings: tuple[String, ...]
    source: str


@cache
def sets() -> Mapping[str, StringSet]:
    """All rows of `data/sets.toml`."""
    return {
        key: StringSet(key, row["title"], tuple(_string(s) for s in row["strings"]), row["source"])
        for key, row in table("graduale.strings", "sets").items()
    }


def _string(row: Mapping[str, str | float]) -> String:
    note = str(row["note"])
    gauge, mass = row.get("gauge"), row.get("mass_per_length")
    return String(
        note,
        frequency_of(note, ISO_16_HZ) or 0.0,
        str(row["material"]),
        None if gauge is None else float(gauge),
        None if mass is None else float(mass),
    )


def restrung(strings: Strings, kind: str) -> Strings:
    """The same notes, pitch and string length with the strings of a set.

    Each note takes the set's string of its name; a note that the set has not takes the nearest one,
    its gauge changed so that it pulls as that string does at its own note [own].
    Errors: Refused for an unknown set, or a note more than a fifth from every string of it.
    """
    if kind not in sets():
        known = ", ".join(sets())
        raise refuse("unknown-set", "strings", f"'{kind}' is no set here; use one of: {known}.")
    rows = tuple(_in_place_of(s, sets()[kind], strings.pitch_a_hz) for s in strings.strings)
    return replace(strings, strings=rows)


def _in_place_of(string: String, wanted: StringSet, pitch_hz: float) -> String:
    at_440 = string.frequency_hz * ISO_16_HZ / pitch_hz

    def off(s: String) -> float:
        return max(s.frequency_hz / at_440, at_440 / s.frequency_hz)

    near = min(wanted.strings, key=off)
    if off(near) > FARTHEST:
        raise refuse(
            "no-string-of-set",
            "strings",
            f"the {wanted.title} set has no string within a fifth of {string.note}; give a string "
            "of your own with its gauge in the instrument file instead.",
        )
    share = near.frequency_hz / at_440  # gauge goes with 1/f, mass per length with 1/f^2
    share = 1.0 if abs(share - 1.0) < 0.02 else share
    gauge = None if near.gauge_mm is None else near.gauge_mm * share
    mass = near.mass_per_length_g_m
    return replace(
        string,
        material=near.material,
        gauge_mm=gauge,
        mass_per_length_g_m=None if mass is None else mass * share**2,
        tension_n=None,
    )


@dataclass(frozen=True)
class Strain:
    """One string at pitch: pull N; stress and breaking limits MPa, None where not known."""

    note: str
    material: str
    gauge_mm: float | None
    tension_n: float
    stress_mpa: float | None
    breaks_mpa: tuple[float, float] | None

    @property
    def share(self) -> float | None:
        """Stress over the lower end of the breaking limit."""
        if self.stress_mpa is None or self.breaks_mpa is None:
            return None
        return self.stress_mpa / self.breaks_mpa[0]


def strains(strings: Strings) -> tuple[Strain, ...]:
    """Every string of a set, bass first. Errors: Refused as in `tension_n`."""
    out = []
    for number, string in enumerate(strings.strings, start=1):
        where = f"strings.string[{number}] ({string.note})"
        row = material(string.material, where)
        limit = None if row.low_mpa is None or row.high_mpa is None else (row.low_mpa, row.high_mpa)
        stress = stress_mpa(string, strings.length_mm, where)
        pull = tension_n(string, strings.length_mm, where)
        out.append(Strain(string.note, string.material, string.gauge_mm, pull, stress, limit))
    return tuple(out)
