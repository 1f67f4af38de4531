"""The set of strings: the maker's own, or the kind's."""

from typing import Any

from graduale.base.findings import Finding
from graduale.files.defaults import Sheet, kinds_table
from graduale.files.problems import error
from graduale.files.schema import StringsTable, StringTable
from graduale.records.instrument import Provenance, String, Strings
from graduale.records.notes import frequency_of


def strings_of(s: Sheet, table: StringsTable, name: str, errors: list[Finding]) -> Strings:
    """The set with a frequency for each string; problems go to `errors`."""
    pitch = s.number("strings.pitch")
    if not table.string:
        given = kinds_table()[s.kind]["strings"]
        s.known["strings.string"] = Provenance("assumed", str(given["source"]))
        rows = tuple(_default(row, pitch) for row in given["set"])
    else:
        rows = tuple(_string(s, row, i, pitch, name, errors) for i, row in enumerate(table.string))
    return Strings(pitch_a_hz=pitch, length_mm=s.number("strings.length"), strings=rows)


def _default(row: dict[str, Any], pitch: float) -> String:
    return String(
        note=str(row["note"]),
        frequency_hz=frequency_of(str(row["note"]), pitch) or 0.0,
        material=str(row["material"]),
        gauge_mm=row.get("gauge"),
        mass_per_length_g_m=row.get("mass_per_length"),
    )


def _string(
    s: Sheet, row: StringTable, at: int, pitch: float, name: str, errors: list[Finding]
) -> String:
    place = f"strings.string[{at + 1}]"
    for key in ("frequency", "gauge", "mass_per_length", "tension"):
        given = getattr(row, key)
        if given is not None:
            s.take(f"{place}.{key}", given, name)
    if row.mass_per_length is None and row.tension is None:
        if row.gauge is None:
            sentence = "has neither gauge, mass_per_length nor tension; write one of them."
            errors.append(error("string-without-mass", name, place, sentence))
        elif row.material is None:
            sentence = 'has a gauge but no material; write for example material = "gut".'
            errors.append(error("string-without-material", name, place, sentence))
    frequency = row.frequency.value if row.frequency else frequency_of(row.note or "", pitch)
    if frequency is None:
        wrong = f"the note '{row.note}' is not known" if row.note else "has no note"
        errors.append(
            error(
                "unknown-note",
                name,
                f"{place}.note",
                f'{wrong}; write it like "G3", "C#4" or "Bb2", or give frequency.',
            )
        )
    return String(
        note=row.note or "",
        frequency_hz=frequency or pitch,
        material=row.material or "wound",
        gauge_mm=row.gauge.value if row.gauge else None,
        mass_per_length_g_m=row.mass_per_length.value if row.mass_per_length else None,
        tension_n=row.tension.value if row.tension else None,
    )
