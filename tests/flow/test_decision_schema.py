"""decision.json against its JSON Schema, judged by a general-purpose validator (jsonschema).

The schema is written by hand from the storyboard of the issue and the contract between the rooms,
not made from the document; hence both can be wrong on their own.
"""

import copy
import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from graduale.plan.table import COLUMNS

Document = dict[str, Any]
_SCHEMA: Document = json.loads(
    files("graduale.jobs").joinpath("data", "decision.schema.json").read_text(encoding="utf-8")
)


def _wrong(document: Document) -> list[str]:
    found = jsonschema.Draft202012Validator(_SCHEMA).iter_errors(document)
    return [f"{e.json_path}: {e.message[:120]}" for e in found]


@pytest.fixture(scope="module")
def document(decided_folder: Path) -> Document:
    """A finished decision."""
    found: Document = json.loads((decided_folder / "decision.json").read_bytes())
    return found


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(_SCHEMA)


def test_a_decision_is_as_described(document: Document) -> None:
    assert _wrong(document) == []


def _without(name: str) -> Callable[[Document], None]:
    def change(d: Document) -> None:
        del d[name]

    return change


def _both_settings(d: Document) -> None:
    d["guide_holes"][0]["rest_gap_mm"] = d["guide_holes"][0]["collar_depth_mm"] = 4.0


def _no_setting(d: Document) -> None:
    d["guide_holes"][0]["rest_gap_mm"] = d["guide_holes"][0]["collar_depth_mm"] = None


def _one_field(d: Document) -> None:
    d["guide_holes"][0]["depth_setting_mm"] = 4.0


def _unsafe_with_holes(d: Document) -> None:
    d["safe"] = False


def _text_in_a_map(d: Document) -> None:
    d["plates"]["top"]["thickness"]["values"][40][20] = "2.4"


def _other_tone(d: Document) -> None:
    d["plates"]["back"]["tap_tones"][0]["name"] = "mode 5"


def _band_of_three(d: Document) -> None:
    d["plates"]["back"]["verdicts"]["local"]["band"].append(1.0)


def _states_of_the_back(d: Document) -> None:
    d["plates"]["back"]["states"] = d["plates"]["top"]["states"]


def _newer(d: Document) -> None:
    d["format"] = 2


_CHANGES = (
    _without("digest"),
    _without("guard"),
    _both_settings,
    _no_setting,
    _one_field,
    _unsafe_with_holes,
    _text_in_a_map,
    _other_tone,
    _band_of_three,
    _states_of_the_back,
    _newer,
)


@pytest.mark.parametrize("change", _CHANGES, ids=lambda c: str(c.__name__).strip("_"))
def test_an_altered_decision_is_not(change: Callable[[Document], None], document: Document) -> None:
    altered = copy.deepcopy(document)
    change(altered)
    assert _wrong(altered)


def _properties(part: Any, path: str = "$") -> Iterator[tuple[str, Document]]:
    if isinstance(part, dict):
        named = part.get("properties", {})
        # inside a condition or a choice the properties are told again, not described again
        for name, one in named.items():
            yield f"{path}.{name}", one
        for name, one in part.items():
            if name not in ("allOf", "oneOf"):
                yield from _properties(one, f"{path}.{name}")
    elif isinstance(part, list):
        for i, one in enumerate(part):
            yield from _properties(one, f"{path}[{i}]")


def test_every_field_is_described_in_one_line() -> None:
    bare = [p for p, one in _properties(_SCHEMA) if not one.get("description", "").strip()]
    long = [p for p, one in _properties(_SCHEMA) if "\n" in one.get("description", "")]
    assert (bare, long) == ([], [])


_UNITS = {"_mm": "mm", "_g": "g", "_n": "N", "_mpa": "MPa", "_deg": "degrees", "hz": "Hz"}


def test_a_field_with_a_unit_in_its_name_says_it() -> None:
    silent = [
        path
        for path, one in _properties(_SCHEMA)
        for end, unit in _UNITS.items()
        if path.endswith(end) and not re.search(rf"\b{unit}\b", one["description"])
    ]
    assert silent == []


def test_the_hole_list_uses_the_names_of_the_decision(decided_folder: Path) -> None:
    named = set(_SCHEMA["$defs"]["guide_hole"]["properties"])
    assert set(COLUMNS) - {"side"} == named
    text = (decided_folder / "holes-top.csv").read_text(encoding="utf-8")
    assert set(next(csv.reader(io.StringIO(text)))) - {"side"} == named
