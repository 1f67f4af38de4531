"""The only maker of the reference band: full-size violins that differ in thickness, solved as
boxes.

Inputs are packaged and committed (`data/reference/`); the answer is cached by inputs, code,
versions.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from scipy.optimize import brentq

from graduale.base.arrays import Floats
from graduale.base.crew import ALONE, Crew
from graduale.base.digest import code_digest, digest, versions
from graduale.base.progress import Progress, part
from graduale.base.tables import Table
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.meshing import settled_mm
from graduale.box.plate import PlateBody, plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.box.tones import free_plate, tones
from graduale.box.verdicts import K_DEF, Band
from graduale.files.instrument import parse_instrument
from graduale.records.instrument import Instrument, PlateName
from graduale.shell.buckling import buckling_factor
from graduale.store.cache import Entry, user_cache
from graduale.thickness.field import Layout, layout_of

PLATES: tuple[PlateName, PlateName] = ("top", "back")
# every room that can move a number of the physics, from the file on
_ROOMS = "base records files geometry wood strings shell box thickness"
ROOMS = tuple(f"graduale.{room}" for room in _ROOMS.split())
_WIDEST_FACTOR = (0.4, 2.5)


@dataclass(frozen=True, eq=False)
class Member:
    """One violin of the band: its zones (4,) by plate, mass g with bar, first tones, read-outs."""

    zones: Mapping[PlateName, Floats]
    mass_g: Mapping[PlateName, float]
    tones_hz: Mapping[PlateName, tuple[tuple[str, float], ...]]
    values: Mapping[str, float]
    buckling: float
    source: str


@dataclass(frozen=True, eq=False)
class Reference:
    """The members by name, and what they rest on; sure: by read-out, the factor on its limit that
    the wanted confidence asks for (nothing: 1)."""

    members: Mapping[str, Member]
    sure: Mapping[str, float] = field(default_factory=dict)

    @property
    def band(self) -> Band:
        """As the verdicts take it."""
        return Band({name: m.values for name, m in self.members.items()}, self.sure)


def packaged(name: str) -> str:
    """Text of a file of the reference band."""
    return files("graduale.jobs").joinpath("data", "reference", name).read_text(encoding="utf-8")


def packaged_violin() -> Instrument:
    """The full-size violin that all members of the band are."""
    return parse_instrument(packaged("violin.toml"), "violin.toml").instrument


def reference_key() -> str:
    """Key of the band in the cache: inputs, code and versions of all that it rests on."""
    code = code_digest(*ROOMS, "graduale.jobs.reference")
    return digest("reference", packaged("violin.toml"), packaged("band.toml"), code, versions())


def reference(progress: Progress, helpers: Crew = ALONE) -> Reference:
    """The band, from the cache or made anew (a few seconds a member), shared with the helpers."""
    made = user_cache().remember(
        reference_key(), lambda: Entry(_document(_made(progress, helpers)))
    )
    progress(1.0, "reference")
    return _from_document(made.document)


def _made(progress: Progress, helpers: Crew) -> Reference:
    """Every second member is left to the helpers, if there are any."""
    names = list(tomllib.loads(packaged("band.toml"))["member"])
    left = {name: helpers.ask(member, name) for name in names[1::2]}
    found: dict[str, Member] = {}
    for i, name in enumerate(names):
        step = part(progress, i / len(names), (i + 1) / len(names))
        step(0.0, "reference")
        if name not in left:
            found[name] = member(name)
    for name, promise in left.items():
        found[name] = promise.result(lambda: progress(1.0, "reference"))
    return Reference({name: found[name] for name in names})


@cache
def _violin() -> tuple[Instrument, dict[PlateName, PlateBody], dict[PlateName, Layout]]:
    """The violin of the band with its plates; made once, so that its members share their meshes."""
    instrument = packaged_violin()
    bodies = plate_bodies(instrument)
    # a reference is what it is: no least thickness is imposed on it
    layouts = {
        w: replace(
            layout_of(instrument, bodies[w]), least_mm=0.0, least_channel_mm=0.0, steepest=np.inf
        )
        for w in PLATES
    }
    return instrument, bodies, layouts


def member(name: str) -> Member:
    """One violin of the band, by name."""
    table = tomllib.loads(packaged("band.toml"))
    row = table["member"][name]
    instrument, bodies, layouts = _violin()
    zones = _zones(table, row, instrument, bodies, layouts)
    return _member(instrument, bodies, layouts, zones, row["source"])


def _average_zones(table: Table) -> dict[PlateName, Floats]:
    top, back = table["average"]["top"], table["average"]["back"]
    return {
        "top": np.array([top["post_zone"], top["bouts"], top["bouts"], top["channel"]]),
        "back": np.array([back["centre"], back["bouts"], back["bouts"], back["channel"]]),
    }


def _zones(
    table: Table,
    row: Table,
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
) -> dict[PlateName, Floats]:
    """The average map times one factor a plate, given or found from the wanted mass."""
    zones = _average_zones(table)
    wanted = {"top": row.get("top_mass_with_bar_g"), "back": row.get("back_mass_g")}
    out: dict[PlateName, Floats] = {}
    for which in PLATES:
        factor = float(row.get(f"{which}_factor", 1.0))
        grams = wanted[which]
        if grams is not None:
            factor = _factor_for(
                instrument, bodies[which], layouts[which], zones[which], float(grams)
            )
        out[which] = zones[which] * factor
    return out


def _factor_for(
    instrument: Instrument, body: PlateBody, layout: Layout, zones: Floats, grams: float
) -> float:
    free = free_plate(instrument, body, layout.at(zones), settled_mm(instrument))

    def over(factor: float) -> float:
        return free.mass_g(layout.at(zones * factor)) - grams

    return float(brentq(over, *_WIDEST_FACTOR, xtol=1e-4))


def _member(
    instrument: Instrument,
    bodies: Mapping[PlateName, PlateBody],
    layouts: Mapping[PlateName, Layout],
    zones: Mapping[PlateName, Floats],
    source: str,
) -> Member:
    fields = {w: layouts[w].at(zones[w]) for w in PLATES}
    box = build_box(instrument, bodies, fields, settled_mm(instrument))
    reading = reading_of(box, cases_of(box))
    t_nodes = box.thickness(fields)
    solved = solve(reading, t_nodes, slopes=False)
    strung = solved.u[:, reading.cases.column("strung")]
    factor = buckling_factor(box.shell, box.structure.facet_thickness(t_nodes), strung, solved.held)
    mass, heard = {}, {}
    for which in PLATES:
        free = free_plate(instrument, bodies[which], fields[which], settled_mm(instrument))
        mass[which] = free.mass_g(fields[which])
        heard[which] = tuple((t.name, t.hz) for t in tones(free, fields[which], 5))
    return Member(zones, mass, heard, solved.values, factor / (1.0 + K_DEF), source)


def _document(made: Reference) -> dict[str, Any]:
    return {
        name: {
            "zones": {w: [float(z) for z in m.zones[w]] for w in PLATES},
            "mass_g": dict(m.mass_g),
            "tones_hz": {w: [list(t) for t in m.tones_hz[w]] for w in PLATES},
            "values": dict(m.values),
            "buckling": m.buckling,
            "source": m.source,
        }
        for name, m in made.members.items()
    }


def _from_document(document: Mapping[str, Any]) -> Reference:
    members = {}
    for name, row in document.items():
        zones = {w: np.array(row["zones"][w]) for w in PLATES}
        heard = {w: tuple((str(n), float(f)) for n, f in row["tones_hz"][w]) for w in PLATES}
        members[name] = Member(
            zones, row["mass_g"], heard, row["values"], float(row["buckling"]), str(row["source"])
        )
    return Reference(members)
