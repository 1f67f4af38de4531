"""One alternative solved: mass, sag, tones, and the reserve of every verdict."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.digest import code_digest, digest, versions
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.plate import plate_bodies
from graduale.box.readouts import Reading, Solved, reading_of, solve
from graduale.box.tones import Tone, free_plate, tones
from graduale.box.verdicts import BUCKLING_FLOOR, K_DEF, Judged, Kind, judge, worst
from graduale.jobs.alternatives_list import Alternative
from graduale.jobs.document import band_document, judged_document, rounded
from graduale.jobs.reference import PLATES, ROOMS, Reference
from graduale.jobs.setup_report import SetupReport, setup_report
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.buckling import buckling_factor
from graduale.store.cache import Entry, user_cache
from graduale.strings.sets import strains
from graduale.thickness.carried import as_it_is
from graduale.thickness.field import ZONES, layout_of

TONES = 12
RESERVES = ("across top", "across back", "local top", "local back", "lengthwise", "buckling")
Document = dict[str, Any]
_KINDS: tuple[Kind, ...] = ("across", "local")


@dataclass(frozen=True, eq=False)
class Measured:
    """One alternative on one mesh. tones are those of the finished free plates."""

    reading: Reading
    solved: Solved
    buckling: float  # with creep
    setup: SetupReport
    mass_g: Mapping[PlateName, float]
    tones: Mapping[PlateName, tuple[Tone, ...]]


@dataclass(frozen=True)
class Correction:
    """Fine mesh over the mesh in use, at the decided map; every figure is multiplied by its own."""

    values: Mapping[str, float] = field(default_factory=dict)
    others: Mapping[str, float] = field(default_factory=dict)

    def of(self, name: str, value: float) -> float:
        """A figure other than a read-out, corrected."""
        return value * self.others.get(name, 1.0)


@dataclass(eq=False)
class Solver:
    """Solves alternatives on one mesh; keeps the free plates that several of them share."""

    known: Reference
    size_mm: float
    heard: dict[str, tuple[float, tuple[Tone, ...]]] = field(default_factory=dict)

    def measure(self, one: Alternative) -> Measured:
        """Box, tones, buckling at the alternative's own map. Errors: Refused by strings."""
        inst = one.instrument
        bodies = plate_bodies(inst)
        fields = {}
        for w in PLATES:
            layout = layout_of(inst, bodies[w])
            fields[w] = (as_it_is(layout) if one.raw else layout).at(one.zones[w])
        box = build_box(inst, bodies, fields, self.size_mm)
        reading = reading_of(box, cases_of(box))
        t_nodes = box.thickness(fields)
        solved = solve(reading, t_nodes, slopes=False)
        strung = solved.u[:, reading.cases.column("strung")]
        facet = box.structure.facet_thickness(t_nodes)
        guard = buckling_factor(box.shell, facet, strung, solved.held) / (1.0 + K_DEF)
        mass, heard = {}, {}
        for w in PLATES:
            bar = asdict(inst.bar) if w == "top" else None
            key = digest(w, one.zones[w], one.raw, bar)
            if key not in self.heard:
                free = free_plate(inst, bodies[w], fields[w], self.size_mm)
                self.heard[key] = free.mass_g(fields[w]), tones(free, fields[w], TONES)
            mass[w], heard[w] = self.heard[key]
        return Measured(reading, solved, guard, setup_report(reading, solved), mass, heard)


def main_tone(heard: tuple[Tone, ...]) -> Tone:
    """The ring, else the X, else the first: the one that a maker follows most [own]."""
    for name in ("ring", "X"):
        found = [t for t in heard if t.name == name]
        if found:
            return max(found, key=lambda t: t.overlap)
    return heard[0]


def most_like(wanted: Tone, heard: tuple[Tone, ...]) -> Tone:
    """The tone whose motion is most like that of another state of the same plate."""

    def like(tone: Tone) -> float:
        a, b = np.nan_to_num(tone.motion.values), np.nan_to_num(wanted.motion.values)
        return float(abs(np.sum(a * b)) / np.sqrt(np.sum(a * a) * np.sum(b * b)))

    return max(heard, key=like)


def correction(fine: Measured, rough: Measured) -> Correction:
    """What makes the rough mesh's figures those of the fine one at the decided map."""
    a, b = fine.solved.values, rough.solved.values
    values = {k: a[k] / b[k] for k in a if k in b and b[k] > 0.0}
    main = {w: main_tone(fine.tones[w]) for w in PLATES}
    one, two = _others(fine, main), _others(rough, main)
    return Correction(values, {k: one[k] / two[k] for k in one if two[k] != 0.0})


def _others(m: Measured, main: Mapping[PlateName, Tone]) -> dict[str, float]:
    out = {"buckling": m.buckling}
    out |= {f"sag {side}": s.at_once_mm for side, s in m.setup.sag.items()}
    out |= {f"mass {w}": m.mass_g[w] for w in PLATES}
    out |= {f"tone {w}": most_like(main[w], m.tones[w]).hz for w in PLATES}
    return out


def figures(
    one: Alternative,
    made: Measured,
    by: Correction,
    main: Mapping[PlateName, Tone],
    known: Reference,
) -> Document:
    """All that is shown of one alternative, as plain values with few digits."""
    inst = one.instrument
    values = {k: v * by.values.get(k, 1.0) for k, v in made.solved.values.items()}
    judged = judge(made.reading, replace(made.solved, values=values), known.band, inst.margin)
    buckling = by.of("buckling", made.buckling)
    others = {k: by.of(k, v) for k, v in _others(made, main).items()}
    failing = [j for j in judged if not j.passes]
    safe = not failing and buckling >= BUCKLING_FLOOR
    heard = {w: most_like(main[w], made.tones[w]) for w in PLATES}
    return {
        "safe": bool(safe),
        "fails_by_margin_only": bool(not safe and _by_margin(failing, buckling, inst.margin)),
        "zones_mm": {
            w: {n: rounded(z, 3) for n, z in zip(ZONES, one.zones[w], strict=True)} for w in PLATES
        },
        "mass_g": {w: rounded(others[f"mass {w}"], 2) for w in PLATES},
        "main_tone": {
            w: {"hz": rounded(others[f"tone {w}"], 1), "name": heard[w].name} for w in PLATES
        },
        "sag_mm": {
            side: {
                "at_once": rounded(others[f"sag {side}"], 4),
                "after_years": rounded(others[f"sag {side}"] * (1.0 + K_DEF), 4),
            }
            for side in made.setup.sag
        },
        "reserves": _reserves(judged, buckling),
        "buckling_with_creep": rounded(buckling, 2),
        "referenced": bool(inst.bar.present and inst.post.present),
        "tightest": judged_document(judged[0]),
        "failing": [judged_document(j) for j in failing],
        "strings": strings_document(inst, made.setup),
        "post_n": rounded(made.setup.post_n, 1),
    }


def _by_margin(failing: list[Judged], buckling: float, margin: float) -> bool:
    """Every verdict would hold with nothing in hand, and the guard holds."""
    enough = all(j.reserve * (1.0 + margin) >= 1.0 for j in failing)
    return enough and buckling >= BUCKLING_FLOOR


def _reserves(judged: tuple[Judged, ...], buckling: float) -> dict[str, float | None]:
    """Least reserve of each verdict; None where no violin is a reference."""
    out: dict[str, float | None] = {}
    for kind in _KINDS:
        for w in PLATES:
            found = worst(judged, w, kind)
            out[f"{kind} {w}"] = None if found is None else _down(found.reserve)
    along = worst(judged, "top", "lengthwise")
    out["lengthwise"] = None if along is None else _down(along.reserve)
    out["buckling"] = _down(buckling / BUCKLING_FLOOR)
    return {name: out[name] for name in RESERVES}


def _down(value: float) -> float:
    """Four digits, rounded down, so that what fails never reads as 1."""
    return math.floor(1e4 * value) / 1e4


def strings_document(inst: Instrument, setup: SetupReport) -> Document:
    """Pulls, press, and each string's stress beside its breaking limit."""
    rows = strains(inst.strings)
    shares = [r.share for r in rows if r.share is not None]
    return {
        "tension_total_n": rounded(setup.strings.tension_total_n, 1),
        "press_total_n": rounded(setup.strings.press_total_n, 1),
        "greatest_share_of_limit": rounded(max(shares), 3) if shares else None,
        "each": [
            {
                "note": r.note,
                "material": r.material,
                "gauge_mm": None if r.gauge_mm is None else rounded(r.gauge_mm, 3),
                "tension_n": rounded(r.tension_n, 1),
                "stress_mpa": None if r.stress_mpa is None else rounded(r.stress_mpa, 0),
                "breaks_mpa": None
                if r.breaks_mpa is None
                else [rounded(v, 0) for v in r.breaks_mpa],
            }
            for r in rows
        ],
    }


def remembered(key: str, make: "Any") -> Document:
    """A plain document from the cache of this maker, or made and kept."""
    entry = user_cache().remember(key, lambda: Entry(make()))
    found: Document = entry.document
    return found


def cache_key(*parts: object) -> str:
    """Digest of what an answer depends on, with code and versions."""
    return digest(*parts, code_digest(*ROOMS, "graduale.jobs"), versions())


def facts(instrument: Instrument) -> Document:
    """The instrument without what no figure depends on."""
    kept = {k: v for k, v in asdict(instrument).items() if k not in ("drill", "workshop")}
    return kept | {"caliper_spread_mm": instrument.workshop.caliper_spread_mm}


def yard(known: Reference) -> Document:
    """What a body is held against: the band, and what confidence asks of each limit."""
    return {"band": band_document(known), "sure": {k: float(v) for k, v in known.sure.items()}}


def zone_values(zones: Mapping[PlateName, Floats]) -> dict[str, list[float]]:
    """Zones as plain lists."""
    return {w: [float(z) for z in zones[w]] for w in PLATES}
