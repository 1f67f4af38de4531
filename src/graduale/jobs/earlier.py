"""An earlier decision read back from its folder, with its instrument."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from graduale.base.findings import refuse
from graduale.box.plate import PlateBody, plate_bodies
from graduale.files.instrument import load_instrument
from graduale.jobs.apart import wood_kind
from graduale.jobs.decide import INSTRUMENT_NAME
from graduale.jobs.document import FORMAT, instrument_digest, map_from
from graduale.jobs.holeplan import Targets
from graduale.jobs.reference import PLATES
from graduale.records.instrument import Instrument, PlateName

_DECISION = "decision.json"
_SCHEMA = "data/decision.schema.json"


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
    """The decision in `folder`. Errors: Refused when it is missing, torn or of another format,
    or when its instrument file was changed since."""
    where = str(folder / _DECISION)
    try:
        found = json.loads((folder / _DECISION).read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        raise refuse("no-decision", where, "is not there; run 'graduale decide' first.") from None
    except (OSError, ValueError, RecursionError) as wrong:
        sentence = f"cannot be read ({type(wrong).__name__}); run 'graduale decide' again."
        raise refuse("bad-decision", where, sentence) from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        sentence = f"is not of format {FORMAT}; run 'graduale decide' again."
        raise refuse("bad-decision", where, sentence)
    lost = [key for key in _needed() if key not in found]
    if lost:
        sentence = f"holds no '{lost[0]}'; run 'graduale decide' again."
        raise refuse("bad-decision", where, sentence)
    instrument = load_instrument(folder / INSTRUMENT_NAME, beside_only=True).instrument
    if found.get("instrument_digest") != instrument_digest(instrument):
        sentence = "is not the one this decision was made for; run 'graduale decide' again."
        raise refuse("instrument-changed", str(folder / INSTRUMENT_NAME), sentence)
    return Earlier(found, instrument, plate_bodies(instrument))


@cache
def _needed() -> tuple[str, ...]:
    """Keys without which a decision was written by another version, or is torn."""
    text = resources.files("graduale.jobs").joinpath(_SCHEMA).read_text("utf-8")
    return tuple(json.loads(text)["required"])
