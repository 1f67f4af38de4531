"""Entries of the book as rows of its table, and back; whole numbers of small units."""

import json
from collections.abc import Mapping
from typing import Any, cast

from graduale.records import events as e

COLUMNS = (
    *("id", "instrument", "at_us", "kind", "stage", "who", "humidity_milli"),
    *("plate", "x_um", "y_um", "t_um", "mass_mg", "tones_mhz", "station", "doubtful"),
    *("text", "aim", "content"),
)


def row_of(entry: e.Entry) -> dict[str, Any]:
    """Column -> value; None where the kind has no such value."""
    row: dict[str, Any] = dict.fromkeys(COLUMNS)
    row |= {
        "id": entry.id,
        "instrument": entry.instrument,
        "at_us": entry.at_us,
        "kind": e.kind_of(entry.what),
        "stage": entry.stage,
        "who": entry.who,
        "humidity_milli": _whole(entry.humidity_percent, 1e3),
    }
    return row | _own(entry.what)


def _own(what: e.What) -> dict[str, Any]:
    match what:
        case e.FileKept(name, content):
            return {"text": name, "content": content}
        case e.DecisionKept(digest, content):
            return {"text": digest, "content": content}
        case e.CaliperRead():
            return {
                "plate": what.plate,
                "x_um": _whole(what.x_mm, 1e3),
                "y_um": _whole(what.y_mm, 1e3),
                "t_um": _whole(what.t_mm, 1e3),
                "station": what.station,
                "doubtful": int(what.doubtful),
                "text": what.typed,
                "aim": what.replaces,
            }
        case e.WeightRead(of, mass_g, replaces):
            return {"plate": of, "mass_mg": _whole(mass_g, 1e3), "aim": replaces}
        case e.TonesHeard(plate, hz, replaces):
            whole = json.dumps([_whole(tone, 1e3) for tone in hz])
            return {"plate": plate, "tones_mhz": whole, "aim": replaces}
        case e.Noted(text, replaces):
            return {"text": text, "aim": replaces}
        case e.PhotoKept(name, content, caption):
            return {"station": name, "content": content, "text": caption}
        case e.StageBegun(plate, stage):
            return {"plate": plate, "text": stage}
        case e.Struck(of) | e.Accepted(of):
            return {"aim": of}


def entry_of(row: Mapping[str, Any]) -> e.Entry:
    """The entry of one row. Errors: ValueError for a kind that this version does not know."""
    return e.Entry(
        row["id"],
        row["instrument"],
        row["at_us"],
        _what(row),
        row["stage"],
        row["who"],
        _part(row["humidity_milli"]),
    )


def _what(row: Mapping[str, Any]) -> e.What:
    plate = row["plate"]
    match row["kind"]:
        case "file":
            return e.FileKept(row["text"], row["content"])
        case "decision":
            return e.DecisionKept(row["text"], row["content"])
        case "reading":
            return e.CaliperRead(
                plate,
                row["x_um"] / 1e3,
                row["y_um"] / 1e3,
                row["t_um"] / 1e3,
                row["station"],
                bool(row["doubtful"]),
                row["text"],
                row["aim"],
            )
        case "weight":
            return e.WeightRead(plate, row["mass_mg"] / 1e3, row["aim"])
        case "tones":
            hz = tuple(tone / 1e3 for tone in cast("list[int]", json.loads(row["tones_mhz"])))
            return e.TonesHeard(plate, hz, row["aim"])
        case "note":
            return e.Noted(row["text"], row["aim"])
        case "photo":
            return e.PhotoKept(row["station"], row["content"], row["text"])
        case "stage":
            return e.StageBegun(plate, row["text"])
        case "strike":
            return e.Struck(row["aim"])
        case "accept":
            return e.Accepted(row["aim"])
    raise ValueError(f"an entry of the kind {row['kind']!r}")


def _whole(value: float | None, per_unit: float) -> int | None:
    return None if value is None else round(value * per_unit)


def _part(value: int | None) -> float | None:
    return None if value is None else value / 1e3
