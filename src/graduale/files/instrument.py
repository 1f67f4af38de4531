"""The instrument file: TOML in, one filled-in `Instrument` out, with every problem in one go.

The format is described in `docs/instrument-file.md`.
"""

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from graduale.base.findings import Finding, Refused
from graduale.base.settings import settings
from graduale.base.units import MM_PER_INCH
from graduale.files import build
from graduale.files.defaults import Sheet, kind_names
from graduale.files.disk import read_text
from graduale.files.fields import hole_polygons
from graduale.files.fit import contradictions
from graduale.files.problems import error, findings_of, first_of, nearest, toml_finding
from graduale.files.quantity import Given, Unreadable, shown
from graduale.files.relate import relate
from graduale.files.schema import (
    InstrumentFile,
    StringsTable,
    WorkshopFile,
)
from graduale.files.strings import strings_of
from graduale.files.workshop import WORKSHOP_NAME, parse_workshop
from graduale.records.instrument import Instrument, Provenance

Value = float | str | bool


@dataclass(frozen=True)
class Loaded:
    """The filled-in instrument and what is worth saying about its file (no errors among it).

    `values` holds every value in use by the file's own dotted key.
    """

    instrument: Instrument
    findings: tuple[Finding, ...]
    values: Mapping[str, Value]


def load_instrument(path: Path, *, beside_only: bool = False) -> Loaded:
    """Reads the file at `path`, and the workshop's settings that go with it (`workshop_for`).

    With `beside_only` no workshop.toml but the one in its own folder is looked for.
    Raises Refused with every error found.
    """
    shop_path = workshop_for(path, beside_only=beside_only)
    text = read_text(path)
    shop = None if shop_path is None else (read_text(shop_path), shop_path.name)
    return parse_instrument(text, path.name, shop)


def workshop_for(path: Path, *, beside_only: bool = False) -> Path | None:
    """The workshop.toml beside the instrument file at `path`, else the one that GRADUALE_WORKSHOP
    names, else None."""
    beside = path.parent / WORKSHOP_NAME
    if beside.is_file():
        return beside
    return None if beside_only else settings().workshop_file


def parse_instrument(text: str, name: str, workshop: tuple[str, str] | None = None) -> Loaded:
    """The instrument written in `text`; `name` is the file's name for the sentences.

    `workshop` is (text, name) of a workshop file. Raises Refused with every error found.
    """
    return build_instrument(read_toml(text, name), name, workshop)


def build_instrument(
    raw: dict[str, Any], name: str, workshop: tuple[str, str] | None = None
) -> Loaded:
    """The instrument of the tables `raw`, as `parse_instrument`."""
    table, errors = _validated(raw, name)
    shop: WorkshopFile | None = None
    if workshop is not None:
        try:
            shop = parse_workshop(*workshop)
        except Refused as refused:
            errors += list(refused.findings)
    if table is None or errors:
        raise Refused(first_of(errors, name))
    return _filled(table, name, shop, workshop[1] if workshop else "")


def read_toml(text: str, name: str) -> dict[str, Any]:
    """The tables in `text`. Raises Refused with the line and the mend."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as wrong:
        raise Refused([toml_finding(wrong, text, name)]) from None
    except (ValueError, RecursionError, OverflowError):
        sentence = "holds a number or a nesting too long to be read; shorten it."
        raise Refused([error("not-toml", name, "", sentence)]) from None


def _validated(raw: dict[str, Any], name: str) -> tuple[InstrumentFile | None, list[Finding]]:
    errors: list[Finding] = []
    kind = raw.get("kind")
    if "kind" in raw and kind not in kind_names():
        near = nearest(kind, kind_names()) if isinstance(kind, str) else ""
        hint = f"; did you mean '{near}'?" if near else f"; write one of {', '.join(kind_names())}."
        errors.append(error("unknown-kind", name, "kind", f"{shown(kind)} is no known kind{hint}"))
        raw = {**raw, "kind": kind_names()[0]}
    scale = MM_PER_INCH if raw.get("units") == "inch" else 1.0
    try:
        return InstrumentFile.model_validate(raw, context={"scale": scale}), errors
    except ValidationError as wrong:
        return None, errors + findings_of(wrong, name, InstrumentFile)


def flat(table: BaseModel, before: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value of the tables below `table` with its dotted key; None is left out."""
    for name in type(table).model_fields:
        value = getattr(table, name)
        if isinstance(value, BaseModel):
            yield from flat(value, f"{before}{name}.")
        elif value is not None:
            yield before + name, value


def settings_of(shop: WorkshopFile) -> Iterator[tuple[str, Any]]:
    """The values of a workshop file with the keys that they have in an instrument file."""
    for key, value in flat(shop):
        if key not in ("format", "units"):
            yield key if key.startswith("guide_holes.") else f"workshop.{key}", value


def _filled(table: InstrumentFile, name: str, shop: WorkshopFile | None, shop_name: str) -> Loaded:
    sheet = Sheet(table.kind)
    if shop is not None:
        _take(sheet, settings_of(shop), shop_name)
    _take(sheet, flat(table), name)
    errors: list[Finding] = []
    holes = _polygons(table, name, errors)
    errors += relate(sheet, table.body.outline_points if table.body else None, name)
    if errors:
        raise Refused(errors)
    instrument = _instrument(sheet, table, name, holes, errors)
    found = contradictions(instrument, name)
    errors += [f for f in found if f.level == "error"]
    if errors:
        raise Refused(first_of(errors, name))
    values: dict[str, Value] = {**sheet.numbers, **sheet.texts, **sheet.flags}
    tight = _tight(sheet, instrument, name)
    return Loaded(instrument, (*found, *tight, *assumptions(instrument, name)), values)


def _tight(sheet: Sheet, instrument: Instrument, name: str) -> tuple[Finding, ...]:
    """What is not as its kind usually is, so that it finds room in this body."""
    keys = [k for k in dict.fromkeys(sheet.bound) if k in instrument.known]
    by_part: dict[str, list[str]] = {}
    for key in keys:
        part, _, last = key.rpartition(".")
        by_part.setdefault(part, []).append(f"{last} {sheet.numbers[key]:g}")
    return tuple(
        Finding(
            "warning",
            "fitted-to-body",
            f"{name}: {part}",
            f"fitted to the rest of the body: {', '.join(values)}; write your own where you know "
            "better.",
        )
        for part, values in by_part.items()
    )


def assumptions(instrument: Instrument, name: str) -> tuple[Finding, ...]:
    """One finding for each value that was filled in by kind, with its source."""
    return tuple(
        Finding("assumed", "assumed", f"{name}: {key}", f"assumed: {known.source}.")
        for key, known in instrument.known.items()
        if known.how == "assumed"
    )


def _take(sheet: Sheet, values: Iterable[tuple[str, Any]], source: str) -> None:
    for key, value in values:
        if isinstance(value, Given):
            sheet.take(key, value, source)
        elif isinstance(value, bool):
            sheet.flags[key] = value
            sheet.known[key] = Provenance("given", source)
        elif isinstance(value, str) and key not in ("kind", "units", "name"):
            sheet.texts[key] = value
            sheet.known[key] = Provenance("given", source)


def _polygons(table: InstrumentFile, name: str, errors: list[Finding]) -> tuple[build.Pairs, ...]:
    raw = table.soundholes.points if table.soundholes else None
    if raw is None:
        return ()
    try:
        return hole_polygons(raw, MM_PER_INCH if table.units == "inch" else 1.0)
    except Unreadable as sentence:
        errors.append(error("bad-value", name, "soundholes.points", f"{sentence}."))
        return ()


def _instrument(
    s: Sheet,
    table: InstrumentFile,
    name: str,
    holes: tuple[build.Pairs, ...],
    errors: list[Finding],
) -> Instrument:
    top = table.top.arch if table.top else None
    back = table.back.arch if table.back else None
    strings = table.strings or StringsTable()
    outline = table.body.outline_points if table.body else None
    left = bool(s.flags.get("left_handed", False))
    return Instrument(
        name=table.name or name.removesuffix(".toml"),
        kind=table.kind,
        left_handed=left,
        body=build.body_of(s, outline),
        top=build.plate_of(s, "top", top),
        back=build.plate_of(s, "back", back),
        rib_wood=build.wood_of(s, "ribs.wood"),
        strings=strings_of(s, strings, name, errors),
        bridge=build.bridge_of(s),
        neck=build.neck_of(s),
        soundholes=build.soundholes_of(s, holes),
        bar=build.bar_of(s),
        post=build.post_of(s),
        blocks=build.blocks_of(s),
        drill=build.drill_of(s),
        workshop=build.workshop_of(s),
        margin=s.number("margin"),
        confidence=s.number("confidence"),
        known=_known(s),
    )


def _known(s: Sheet) -> dict[str, Provenance]:
    """What is known of each value in use; parts that are not there are left out."""
    absent = [p for p in ("soundholes", "bar", "post") if not s.flag(f"{p}.present")]
    return {
        key: s.known[key]
        for key in sorted(s.known)
        if key.split(".")[0] not in absent or key.endswith(".present")
    }
