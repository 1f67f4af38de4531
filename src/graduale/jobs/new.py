"""A new instrument file from a kind of body and the few dimensions that are known."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from graduale.base.findings import Finding, Refused
from graduale.files.instrument import Loaded, build_instrument
from graduale.files.problems import error
from graduale.files.write import instrument_toml, literal
from graduale.jobs.result import DONE, JobResult
from graduale.store.out import write_file

_OWN_LINES = ("format", "kind", "name", "units")


def run(kind: str, dimensions: Mapping[str, str], out: Path) -> JobResult:
    """Writes the file `out`; `dimensions` maps dotted keys of the file to what was typed.

    Errors: Refused with every bad dimension, or when `out` exists or cannot be written.
    """
    loaded, text = compose(kind, dimensions, out.name)
    write_file(out, text)
    return JobResult(DONE, _told(loaded, out), _document(loaded, out))


def compose(kind: str, dimensions: Mapping[str, str], file_name: str) -> tuple[Loaded, str]:
    """The instrument and the text of its file. Errors: Refused with every bad dimension."""
    typed = {key: _typed(text) for key, text in dimensions.items() if key not in _OWN_LINES}
    raw, errors = _nested(typed, file_name)
    name = dimensions.get("name") or file_name.removesuffix(".toml").replace("-", " ")
    raw |= {"format": 1, "kind": kind, "name": name}
    if dimensions.get("units", "mm") != "mm":
        sentence = 'a new file is in mm; write each length with its unit, body.length="12.6 in".'
        errors.append(error("units-of-new", file_name, "units", sentence))
    try:
        loaded = build_instrument(raw, file_name)
    except Refused as refused:
        raise Refused([*errors, *refused.findings]) from None
    if errors:
        raise Refused(errors)
    written = {key: literal(value) for key, value in typed.items()}
    return loaded, instrument_toml(loaded.instrument, loaded.values, written)


def _typed(text: str) -> float | str | bool:
    """What was typed as the file would hold it: a number, yes or no, or text."""
    plain = text.strip()
    if plain in ("true", "false"):
        return plain == "true"
    try:
        return float(plain)
    except ValueError:
        return plain


def _nested(typed: Mapping[str, Any], name: str) -> tuple[dict[str, Any], list[Finding]]:
    """Dotted keys as tables in tables, and what cannot be one."""
    raw: dict[str, Any] = {}
    errors = []
    for key, value in typed.items():
        *above, last = key.split(".")
        here = raw
        for part in above:
            here = here.setdefault(part, {})
            if not isinstance(here, dict):
                break
        if not isinstance(here, dict) or isinstance(here.get(last), dict) or last == "string":
            sentence = "cannot be set beside what stands inside it; write it in the file itself."
            errors.append(error("key-is-a-table", name, key, sentence))
        else:
            here[last] = value
    return raw, errors


def _told(loaded: Loaded, out: Path) -> str:
    known = loaded.instrument.known.values()
    assumed = sum(k.how == "assumed" for k in known)
    given = sum(k.how not in ("assumed", "derived") for k in known)
    return (
        f"{out} is written: {given} values given, {assumed} assumed and marked so in the file. "
        f"Put in what you have measured, then: graduale check {out}"
    )


def _document(loaded: Loaded, out: Path) -> dict[str, Any]:
    known = loaded.instrument.known
    return {
        "file": str(out),
        "kind": loaded.instrument.kind,
        "given": [k for k, p in known.items() if p.how not in ("assumed", "derived")],
        "assumed": [k for k, p in known.items() if p.how == "assumed"],
    }
