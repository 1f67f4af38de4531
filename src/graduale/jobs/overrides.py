"""What a maker types beside an earlier decision: it stands in for the same keys of the files."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any, Literal

from graduale.base.findings import Refused
from graduale.files.options import read_options
from graduale.records.instrument import Drill, Instrument


def with_drill(instrument: Instrument, typed: Mapping[str, str]) -> Instrument:
    """The instrument with other ways of drilling; `typed` by the names of Drill's fields.

    Errors: Refused on a value that the instrument file would refuse.
    """
    keys = {f.name: f.name.removesuffix("_mm").removesuffix("_deg") for f in fields(Drill)}
    values = _read(typed, keys, "guide_holes")
    return replace(instrument, drill=replace(instrument.drill, **values))


def with_workshop(instrument: Instrument, typed: Mapping[str, str]) -> Instrument:
    """The instrument with other 'paper', 'units', or printed lengths of the 100 mm scales
    ('printed_x_mm', 'printed_y_mm'). Errors: as `with_drill`."""
    keys = {"paper": "paper", "units": "sheet_units"}
    keys |= {f"printed_{axis}_mm": f"printed_scale_{axis}" for axis in "xy"}
    values = _read(typed, keys, "workshop")
    for axis in "xy":
        printed = values.pop(f"printed_{axis}_mm", None)
        if printed is not None:
            values[f"printer_{axis}"] = printed / 100.0
    return replace(instrument, workshop=replace(instrument.workshop, **values))


def _read(
    typed: Mapping[str, str], keys: Mapping[str, str], table: Literal["guide_holes", "workshop"]
) -> dict[str, Any]:
    """Values by name; `keys` gives the file's key for each name that belongs to the table."""
    names = {keys[name]: name for name in typed if name in keys}
    try:
        found = read_options({key: typed[name] for key, name in names.items()}, table)
    except Refused as refused:
        flags = {f": {k}": "--" + n.removesuffix("_mm").replace("_", "-") for k, n in names.items()}
        at = [replace(f, where=flags.get(f.where, f.where)) for f in refused.findings]
        raise Refused(at) from None
    return {names[key]: value for key, value in found.items()}
