"""The only maker of the reference band: full-size violins that differ in thickness, solved as
boxes.

Inputs are packaged and committed (`data/reference/`); the answer is cached by inputs, code,
versions.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib.resources import files
from typing import Any

import numpy as np
from scipy.optimize import brentq

from graduale.base.arrays import Floats
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
ROOMS = tuple(f"graduale.{r}" for r in ("geometry", "wood", "strings", "shell", "box", "thickness"))
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


def _packaged(name: str) -> str:
    return files("graduale.jobs").joinpath("data", "reference", name).read_text(encoding="utf-8")


def packaged_violin() -> Instrument:
    """The full-size violin that all members of the band are."""
    return parse_instrument(_packaged("violin.toml"), "violin.toml").instrument


def reference(progress: Progress) -> Reference:
    """The band, from the cache or made anew (a few seconds a member)."""
    violin, band = _packaged("violin.toml"), _packaged("band.toml")
    key = digest("reference", violin, band, code_digest(*ROOMS), versions())
    entry = user_cache().remember(key, lambda: Entry(_document(_made(violin, band, progress))))
    progress(1.0, "reference")
    return _from_document(entry.document)


def _made(violin: str, band: str, progress: Progress) -> Reference:
    import tomllib

    table = tomllib.loads(band)
    instrument = parse_instrument(violin, "violin.toml").instrument
    bodies = plate_bodies(instrument)
    # a reference is what it is: no least thickness is imposed on it
    layouts = {
        w: replace(
            layout_of(instrument, bodies[w]), least_mm=0.0, least_channel_mm=0.0, steepest=np.inf
        )
        for w in PLATES
    }
    names = list(table["member"])
    members = {}
    for i, name in enumerate(names):
        step = part(progress, i / len(names), (i + 1) / len(names))
        step(0.0, "reference")
        zones = _zones(table, table["member"][name], instrument, bodies, layouts)
        members[name] = _member(instrument, bodies, layouts, zones, table["member"][name]["source"])
    return Reference(members)


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
