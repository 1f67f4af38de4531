"""One instrument of the workshop book as a readable folder, and back.

    book.toml       whose it is (format, id, name, begun)
    history.csv     every entry ever made, struck ones too; from this the folder is read back
    instrument.toml, workshop.toml, readings.csv, weights.csv, notes.txt     what stands
    contents/       instrument files, decisions and photographs, named by their SHA-256

Lengths in mm, masses in g, tones in Hz, moments in UTC. A text editor and a spreadsheet open all
of it; a text that a spreadsheet would take for a formula gets an apostrophe before it, which is
taken off again on reading.
"""

import csv
import io
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import cast

from graduale.base.findings import Finding, Refused
from graduale.files.problems import error
from graduale.files.workshop import WORKSHOP_NAME
from graduale.records import events as e
from graduale.records.instrument import PlateName

FORMAT = 1
HEAD: tuple[str, ...] = (
    *("id", "at", "kind", "stage", "who", "humidity_percent", "plate", "x_mm", "y_mm"),
    *("thickness_mm", "mass_g", "tones_hz", "station", "doubtful", "text", "names", "content"),
)
_TEXTS = ("stage", "who", "station", "text")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
_SUFFIX = {"file": "toml", "decision": "json", "photo": "bin"}


@dataclass(frozen=True, eq=False)
class History:
    """An instrument with all its entries in order, and the contents that they name by digest."""

    id: str
    name: str
    made_us: int
    entries: tuple[e.Entry, ...]
    contents: Mapping[str, bytes]


def folder_of(history: History) -> dict[str, bytes]:
    """Files of the folder: name -> content."""
    stands = e.standing(history.entries)
    out = {
        "book.toml": _identity(history),
        "history.csv": _table(HEAD, [_cells(entry) for entry in history.entries]),
        "readings.csv": _readings(stands),
        "weights.csv": _weights(stands),
        "notes.txt": _notes(stands),
    }
    for entry in history.entries:
        content = getattr(entry.what, "content", None)
        if content is not None:
            out[f"contents/{_content_name(entry.what)}"] = history.contents[content]
    for entry in stands:  # the last one of each wins
        if isinstance(entry.what, e.FileKept):
            shop = entry.what.name == WORKSHOP_NAME
            name = WORKSHOP_NAME if shop else "instrument.toml"
            out[name] = history.contents[entry.what.content]
    return out


def history_of(files: Mapping[str, bytes], where: str) -> History:
    """The history in a folder's files (name -> content); `where` names it in the sentences.

    Errors: Refused, with every line that cannot be read.
    """
    identity = _read_identity(files.get("book.toml"), where)
    if "history.csv" not in files:
        raise _refused("no-history", where, "history.csv", "is missing; name the whole folder.")
    contents = {sha256(c).hexdigest(): c for n, c in files.items() if n.startswith("contents/")}
    found: list[Finding] = []
    entries = _read_entries(files["history.csv"], identity[0], where, found)
    for entry in entries:
        wanted = getattr(entry.what, "content", None)
        if wanted is not None and wanted not in contents:
            sentence = f"contents/{wanted[:12]}... is missing or was changed; bring the file back."
            found.append(error("content-missing", where, "history.csv", sentence))
    if found:
        raise Refused(found)
    return History(*identity, tuple(entries), contents)


def _identity(history: History) -> bytes:
    lines = (
        f"format = {FORMAT}",
        f"id = {json.dumps(history.id)}",
        f"name = {json.dumps(history.name, ensure_ascii=False)}",
        f"begun = {json.dumps(_moment(history.made_us))}",
    )
    return ("\n".join(lines) + "\n").encode()


def _read_identity(content: bytes | None, where: str) -> tuple[str, str, int]:
    if content is None:
        raise _refused("no-book-folder", where, "book.toml", "is missing; name an exported folder.")
    try:
        found = tomllib.loads(content.decode())
        if found["format"] != FORMAT:
            sentence = f"is of format {found['format']}, not {FORMAT}; renew Graduale."
            raise _refused("book-folder-newer", where, "book.toml", sentence)
        return str(found["id"]), str(found["name"]), _micros(str(found["begun"]))
    except (ValueError, KeyError) as wrong:
        sentence = f"cannot be read ({wrong}); export the instrument again."
        raise _refused("bad-book-folder", where, "book.toml", sentence) from None


def _cells(entry: e.Entry) -> list[str]:
    what = entry.what
    cells = dict.fromkeys(HEAD, "")
    cells |= {
        "id": entry.id,
        "at": _moment(entry.at_us),
        "kind": e.kind_of(what),
        "stage": entry.stage,
        "who": entry.who,
        "humidity_percent": _plain(entry.humidity_percent),
        "content": str(getattr(what, "content", "")),
        "names": str(getattr(what, "replaces", None) or getattr(what, "of", "")),
    }
    cells |= _own(what)
    return [_safe(v) if k in _TEXTS else v for k, v in cells.items()]


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA) else text


def _own(what: e.What) -> dict[str, str]:
    match what:
        case e.CaliperRead():
            return {
                "plate": what.plate,
                "x_mm": _plain(what.x_mm),
                "y_mm": _plain(what.y_mm),
                "thickness_mm": _plain(what.t_mm),
                "station": what.station,
                "doubtful": "yes" if what.doubtful else "",
                "text": what.typed,
            }
        case e.WeightRead():
            return {"plate": what.what, "mass_g": _plain(what.mass_g)}
        case e.TonesHeard():
            return {"plate": what.plate, "tones_hz": " ".join(_plain(t) for t in what.hz)}
        case e.Noted():
            return {"text": what.text}
        case e.FileKept():
            return {"text": what.name}
        case e.DecisionKept():
            return {"text": what.digest}
        case e.PhotoKept():
            return {"station": what.name, "text": what.caption}
        case e.StageBegun():
            return {"plate": what.plate, "text": what.stage}
        case _:
            return {}


def _read_entries(
    content: bytes, instrument: str, where: str, found: list[Finding]
) -> list[e.Entry]:
    try:
        rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error) as wrong:
        sentence = f"cannot be read ({wrong}); export the instrument again."
        raise _refused("bad-history", where, "history.csv", sentence) from None
    out = []
    for line, row in enumerate(rows, 2):
        try:
            plain = {k: v.removeprefix("'") if k in _TEXTS else v for k, v in row.items()}
            out.append(_entry(plain, instrument))
        except (ValueError, KeyError, TypeError, AttributeError):
            sentence = "cannot be read as an entry; bring the line back as it was exported."
            found.append(error("bad-entry", where, f"history.csv line {line}", sentence))
    return out


def _entry(row: Mapping[str, str], instrument: str) -> e.Entry:
    humidity = float(row["humidity_percent"]) if row["humidity_percent"] else None
    if not row["id"]:
        raise ValueError("an entry without an id")
    return e.Entry(
        row["id"],
        instrument,
        _micros(row["at"]),
        _what(row),
        row["stage"],
        row["who"],
        humidity,
    )


def _what(row: Mapping[str, str]) -> e.What:
    kind, text, aim = row["kind"], row["text"], row["names"] or None
    if kind == "reading":
        place = float(row["x_mm"]), float(row["y_mm"]), float(row["thickness_mm"])
        doubtful = row["doubtful"] == "yes"
        return e.CaliperRead(_plate(row), *place, row["station"], doubtful, text, aim)
    if kind == "weight":
        return e.WeightRead(_weighed(row["plate"]), float(row["mass_g"]), aim)
    if kind == "tones":
        return e.TonesHeard(_plate(row), tuple(float(t) for t in row["tones_hz"].split()), aim)
    if kind == "note":
        return e.Noted(text, aim)
    if kind == "stage":
        return e.StageBegun(_plate(row), text)
    if kind in ("strike", "accept"):
        if aim is None:
            raise ValueError("a strike at nothing")
        return e.Struck(aim) if kind == "strike" else e.Accepted(aim)
    return _kept(kind, row)


def _kept(kind: str, row: Mapping[str, str]) -> e.What:
    content = row["content"]
    if kind == "file":
        return e.FileKept(row["text"], content)
    if kind == "decision":
        return e.DecisionKept(row["text"], content)
    if kind == "photo":
        return e.PhotoKept(row["station"], content, row["text"])
    raise ValueError(kind)


def _plate(row: Mapping[str, str]) -> PlateName:
    if row["plate"] not in ("top", "back"):
        raise ValueError(row["plate"])
    return cast("PlateName", row["plate"])


def _weighed(text: str) -> e.Weighed:
    if text not in ("top", "back", "bar", "body"):
        raise ValueError(text)
    return cast("e.Weighed", text)


def _readings(stands: Sequence[e.Entry]) -> bytes:
    """Those that count, in the columns that `judge` reads."""
    right = e.accepted(stands)
    rows = [
        [
            s.what.plate,
            _plain(s.what.x_mm),
            _plain(s.what.y_mm),
            _plain(s.what.t_mm),
            s.stage,
            s.at.date().isoformat(),
            s.what.station,
        ]
        for s in stands
        if isinstance(s.what, e.CaliperRead) and (not s.what.doubtful or s.id in right)
    ]
    return _table(("plate", "x_mm", "y_mm", "thickness_mm", "stage", "when", "note"), rows)


def _weights(stands: Sequence[e.Entry]) -> bytes:
    rows = [
        [
            _moment(s.at_us),
            s.what.what,
            _plain(s.what.mass_g),
            s.stage,
            _plain(s.humidity_percent),
            s.who,
        ]
        for s in stands
        if isinstance(s.what, e.WeightRead)
    ]
    return _table(("at", "what", "mass_g", "stage", "humidity_percent", "who"), rows)


def _notes(stands: Sequence[e.Entry]) -> bytes:
    lines = [f"{s.at:%Y-%m-%d %H:%M}  {s.what.text}" for s in stands if isinstance(s.what, e.Noted)]
    return ("\n".join(lines) + "\n" if lines else "").encode()


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return out.getvalue().encode()


def _content_name(what: e.What) -> str:
    content, kind = str(getattr(what, "content", "")), e.kind_of(what)
    suffix = _SUFFIX.get(kind, "bin")
    if isinstance(what, e.PhotoKept) and "." in what.name:
        told = what.name.rsplit(".", 1)[1].lower()
        suffix = told if told.isalnum() and len(told) <= 5 else suffix
    return f"{content}.{suffix}"


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.15g}"


def _moment(at_us: int) -> str:
    return datetime.fromtimestamp(at_us // 10**6, UTC).strftime("%Y-%m-%dT%H:%M:%S") + (
        f".{at_us % 10**6:06d}Z"
    )


def _micros(text: str) -> int:
    moment = datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    return int(moment.replace(microsecond=0).timestamp()) * 10**6 + moment.microsecond


def _refused(key: str, where: str, place: str, sentence: str) -> Refused:
    return Refused([error(key, where, place, sentence)])
