"""An earlier decision read back from its folder, with its instrument and what a maker overrides."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from graduale.base.findings import refuse
from graduale.box.plate import PlateBody, plate_bodies
from graduale.files.instrument import load_instrument
from graduale.jobs.decide import INSTRUMENT_NAME
from graduale.jobs.deciding import wood_kind
from graduale.jobs.document import FORMAT, map_from
from graduale.jobs.holeplan import Targets
from graduale.jobs.reference import PLATES
from graduale.records.instrument import Drill, Instrument, PlateName, Workshop

_DECISION = "decision.json"
Part = TypeVar("Part", Drill, Workshop)


@dataclass(frozen=True, eq=False)
class Earlier:
    """A decision's document with its instrument and plates."""

    document: Mapping[str, Any]
    instrument: Instrument
    bodies: Mapping[PlateName, PlateBody]

    def targets(self) -> dict[PlateName, Targets]:
        """Maps of both plates as they were decided."""
        return {w: self._target(w) for w in PLATES}

    def _target(self, which: PlateName) -> Targets:
        stored = self.document["plates"][which]
        before = stored.get("states", {}).get("before_holes")
        return Targets(
            self.bodies[which],
            wood_kind(self.bodies[which].choice.species),
            map_from(stored["thickness"]),
            None if before is None else map_from(before["thickness"]),
            np.array(stored["platform"], dtype=bool),
        )


def read_earlier(folder: Path) -> Earlier:
    """The decision in `folder`. Errors: Refused when it is missing, torn or of another format."""
    where = str(folder / _DECISION)
    try:
        found = json.loads((folder / _DECISION).read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        raise refuse("no-decision", where, "is not there; run 'graduale decide' first.") from None
    except (OSError, ValueError) as wrong:
        sentence = f"cannot be read ({type(wrong).__name__}); run 'graduale decide' again."
        raise refuse("bad-decision", where, sentence) from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        sentence = f"is not of format {FORMAT}; run 'graduale decide' again."
        raise refuse("bad-decision", where, sentence)
    instrument = load_instrument(folder / INSTRUMENT_NAME).instrument
    return Earlier(found, instrument, plate_bodies(instrument))


def with_drill(instrument: Instrument, overrides: Mapping[str, str]) -> Instrument:
    """The instrument with other ways of drilling. Errors: Refused on a value that is no number."""
    return replace(instrument, drill=_replaced(instrument.drill, overrides))


def with_workshop(instrument: Instrument, overrides: Mapping[str, str]) -> Instrument:
    """The instrument with another paper, units or printer (printed lengths of the 100 mm
    scales)."""
    given = dict(overrides)
    for axis in ("x", "y"):
        printed = given.pop(f"printed_{axis}_mm", None)
        if printed is not None:
            given[f"printer_{axis}"] = str(_number(printed, f"printed-{axis}") / 100.0)
    return replace(instrument, workshop=_replaced(instrument.workshop, given))


def _replaced(part: Part, overrides: Mapping[str, str]) -> Part:
    types = {f.name: type(getattr(part, f.name)) for f in fields(part)}
    values: dict[str, Any] = {}
    for name, text in overrides.items():
        if name not in types:
            continue
        values[name] = _number(text, name) if types[name] is float else text
    return replace(part, **values)


def _number(text: str, name: str) -> float:
    plain = text.strip().removesuffix("mm").strip().replace(",", ".")
    inch = plain.endswith("in")
    try:
        value = float(plain.removesuffix("in").strip()) * (25.4 if inch else 1.0)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        flag = "--" + name.removesuffix("_mm").replace("_", "-")
        raise refuse("not-a-number", flag, f"'{text}' is no length; write e.g. 4 or '0.16 in'.")
    return value
