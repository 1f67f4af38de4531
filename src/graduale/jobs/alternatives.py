"""The use case `alternatives`: other maps, bars, posts and strings beside the decision, each with
what it costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from graduale.base.findings import refuse
from graduale.base.progress import Progress, part
from graduale.base.threads import blas_threads
from graduale.box import meshing
from graduale.box.plate import plate_bodies
from graduale.jobs import check
from graduale.jobs.alternatives_document import costs, document
from graduale.jobs.alternatives_list import (
    Alternative,
    Given,
    Offer,
    Offers,
    as_decided,
    carried_maps,
    chosen,
    parts,
)
from graduale.jobs.alternatives_prints import files_of
from graduale.jobs.alternatives_search import (
    DecidedMap,
    decided_map,
    lightest,
    wished,
    wishes_of,
)
from graduale.jobs.alternatives_solve import (
    Correction,
    Document,
    Solver,
    cache_key,
    correction,
    facts,
    figures,
    main_tone,
    remembered,
    yard,
    zone_values,
)
from graduale.jobs.alternatives_text import table_csv, text_of, wrapped
from graduale.jobs.decide import INSTRUMENT_NAME, today
from graduale.jobs.document import as_bytes, instrument_digest, map_from
from graduale.jobs.doubting import doubt_of, surer
from graduale.jobs.earlier import read_earlier
from graduale.jobs.reference import PLATES, Reference, packaged_violin, reference
from graduale.jobs.result import DONE, NO_SAFE_MAP, JobResult
from graduale.records.instrument import Instrument, PlateName
from graduale.store.out import check_folder, write_folder
from graduale.thickness.field import ZONES, layout_of
from graduale.thickness.wanted import Wish
from graduale.words.catalogue import say

_OTHER_MAP_MM = 0.06  # a stored map that differs by more comes from another version's rule


@dataclass(frozen=True)
class Asked:
    """What the maker asks for: keys or groups (none: all), wishes as typed, an earlier decision's
    folder, parts decided anew as well, the quick mesh."""

    only: Sequence[str] = ()
    wishes: Mapping[str, str] = field(default_factory=dict)
    decision: Path | None = None
    redecide: bool = False
    quick: bool = False


def run(path: Path, out: Path, asked: Asked, progress: Progress) -> JobResult:
    """Computes, writes the folder; exit code 3 when the decision itself is not safe.

    Errors: Refused (input, unknown names, wishes that cannot be reached), Cancelled.
    """
    check_folder(out)
    wishes = wishes_of(asked.wishes)
    instrument = check.sound(path)
    progress(0.0, "read")
    with blas_threads():
        known = reference(part(progress, 0.0, 0.08))
        known = surer(known, doubt_of(instrument, known, part(progress, 0.08, 0.1)))
        decided = _decided(instrument, known, asked.decision, part(progress, 0.1, 0.4))
        found = compare(instrument, known, decided, wishes, asked, part(progress, 0.4, 0.95))
        progress(0.96, "sheets")
        text = text_of(found, instrument)
        files: dict[str, bytes | str] = {"alternatives.json": as_bytes(found)}
        files["alternatives.csv"] = table_csv(found)
        files["summary.txt"] = text + "\n"
        files |= files_of(found, instrument, today())
    files[INSTRUMENT_NAME] = path.read_bytes()
    progress(0.99, "write")
    write_folder(out, files)
    text = "\n".join([text, *wrapped(say("alternatives.next", out=str(out)))])
    return JobResult(DONE if found["alternatives"][0]["safe"] else NO_SAFE_MAP, text, found)


def compare(
    instrument: Instrument,
    known: Reference,
    decided: DecidedMap,
    wishes: Mapping[PlateName, Wish],
    asked: Asked,
    progress: Progress,
    fine_mm: float | None = None,
) -> Document:
    """The document of all alternatives asked for, the decision first."""
    size = fine_mm or meshing.settled_mm(instrument)
    given = Given(instrument, decided.zones, known, packaged_violin(), wishes, size)
    offers = offers_of(given)
    keys = chosen(asked.only, offers)
    rows = _Rows(given, meshing.DECIDING_MM if asked.quick else size)
    progress(0.0, "alternatives")
    ahead = {k: offers[k].make(given, progress) for k in keys if k == "wanted"}  # may be refused
    out = [rows.of(as_decided(given))]
    for i, key in enumerate(keys):
        step = part(progress, (i + 1) / (len(keys) + 1), (i + 2) / (len(keys) + 1))
        step(0.0, "alternatives")
        one = ahead[key] if key in ahead else offers[key].make(given, step)
        row = rows.of(one)
        if asked.redecide and one.group in ("bar", "post", "strings") and not one.clash:
            anew = decided_map(one.instrument, known, step)
            row["redecided"] = rows.figures_of(
                Alternative(one.key, one.group, one.instrument, anew.zones, one.source)
            )
        out.append(row)
    return document(given, decided.family, [costs(r, out[0]) for r in out], asked.quick)


def offers_of(given: Given) -> Offers:
    """Everything that can be set beside this decision."""
    out = carried_maps(given)
    if given.wishes:
        out["wanted"] = Offer("wanted", wished)
    out["lightest"] = Offer("lightest", lightest)
    return out | parts(given)


class _Rows:
    """Rows of the answer, each from the cache or solved; the quick mesh is corrected once."""

    def __init__(self, given: Given, size_mm: float) -> None:
        self.given, self.size_mm = given, size_mm
        self._solver = Solver(given.known, size_mm)
        self._base: tuple[Correction, Mapping[PlateName, Any]] | None = None

    def of(self, one: Alternative) -> Document:
        row: Document = {
            "key": one.key,
            "group": one.group,
            "source": one.source,
            "values": {k: float(v) for k, v in one.values.items()},
            "least_imposed": not one.raw,
            "clash": one.clash or None,
            "redecided": None,
        }
        return row if one.clash else row | self.figures_of(one)

    def figures_of(self, one: Alternative) -> Document:
        g = self.given
        start = (facts(g.instrument), zone_values(g.zones), g.size_mm, self.size_mm)
        about = (facts(one.instrument), zone_values(one.zones), one.raw)
        key = cache_key("alternative", start, about, yard(g.known))
        return remembered(key, lambda: self._solved(one))

    def _solved(self, one: Alternative) -> Document:
        by, main = self._start()
        return figures(one, self._solver.measure(one), by, main, self.given.known)

    def _start(self) -> tuple[Correction, Mapping[PlateName, Any]]:
        """Correction and main tones, from the decision on both meshes."""
        if self._base is None:
            first = as_decided(self.given)
            fine = Solver(self.given.known, self.given.size_mm)
            if self.size_mm == self.given.size_mm:
                fine = self._solver
            made = fine.measure(first)
            by = Correction()
            if fine is not self._solver:
                by = correction(made, self._solver.measure(first))
            self._base = by, {w: main_tone(made.tones[w]) for w in PLATES}
        return self._base


def _decided(
    instrument: Instrument, known: Reference, folder: Path | None, progress: Progress
) -> DecidedMap:
    if folder is None:
        return decided_map(instrument, known, progress)
    earlier = read_earlier(folder)
    if earlier.document["instrument_digest"] != instrument_digest(instrument):
        raise refuse("other-instrument", str(folder), say("alternatives.other_instrument"))
    plates = earlier.document["plates"]
    zones = {w: np.array([plates[w]["zones_mm"][n] for n in ZONES]) for w in PLATES}
    bodies = plate_bodies(instrument)
    for w in PLATES:
        grid = map_from(plates[w]["thickness"])
        points = np.stack(np.meshgrid(grid.x_mm, grid.y_mm, indexing="ij"), axis=-1).reshape(-1, 2)
        there = np.isfinite(grid.values.ravel())
        rule = layout_of(instrument, bodies[w]).at(zones[w])(points[there])
        if np.max(np.abs(rule - grid.values.ravel()[there])) > _OTHER_MAP_MM:
            raise refuse("other-version", str(folder), say("alternatives.other_version"))
    return DecidedMap(zones, earlier.document["family"])
