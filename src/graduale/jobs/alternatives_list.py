"""What may be set beside a decision: other maps, another bar, post or strings; by key and group."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.findings import Refused, refuse
from graduale.base.progress import Progress
from graduale.base.tables import Table, table
from graduale.box.plate import PlateBody, plate_bodies
from graduale.box.tones import FreePlate, free_plate
from graduale.jobs.clashes import clashes, shapes_of
from graduale.jobs.reference import PLATES, Reference
from graduale.records.instrument import Bar, Instrument, PlateName, Post
from graduale.strings.sets import restrung, sets
from graduale.thickness.carried import as_it_is, equal_across, of_mass, school_shape, strips
from graduale.thickness.field import Layout, layout_of
from graduale.thickness.wanted import Wish
from graduale.words.catalogue import say

FULL_SIZE_MM = 355.0  # body length that the moves of bar and post are given for
Zones = Mapping[PlateName, Floats]


@dataclass(frozen=True, eq=False)
class Alternative:
    """One alternative: an instrument with a map. `raw`: no least thickness is imposed on the map.

    `clash` says why its parts do not fit (nothing is computed then); `values` are what its name is
    said with; `source` where its rule comes from.
    """

    key: str
    group: str
    instrument: Instrument
    zones: Zones
    source: str
    raw: bool = False
    clash: str = ""
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Given:
    """What every alternative starts from: the decided map (4,) by plate, and its body."""

    instrument: Instrument
    zones: Zones
    known: Reference
    reference: Instrument
    wishes: Mapping[PlateName, Wish]
    size_mm: float

    @cached_property
    def bodies(self) -> dict[PlateName, PlateBody]:
        """Both plates."""
        return plate_bodies(self.instrument)

    @cached_property
    def layouts(self) -> dict[PlateName, Layout]:
        """As the decision uses them."""
        return {w: layout_of(self.instrument, self.bodies[w]) for w in PLATES}

    @cached_property
    def free(self) -> dict[PlateName, FreePlate]:
        """Both plates by themselves at the decided map, finished."""
        return {
            w: free_plate(
                self.instrument, self.bodies[w], self.layouts[w].at(self.zones[w]), self.size_mm
            )
            for w in PLATES
        }

    @cached_property
    def mass_g(self) -> dict[PlateName, float]:
        """What the decided plates weigh."""
        return {w: self.free[w].mass_g(self.layouts[w].at(self.zones[w])) for w in PLATES}


Make = Callable[[Given, Progress], Alternative]


@dataclass(frozen=True)
class Offer:
    """An alternative that can be had: its group, and what makes it."""

    group: str
    make: Make


Offers = dict[str, Offer]


def as_decided(given: Given) -> Alternative:
    """The decision itself."""
    return Alternative("decision", "decision", given.instrument, given.zones, "this decision")


def carried_maps(given: Given) -> Offers:
    """The average violin's map by three rules, and the schools."""
    average = given.known.members["average"]
    source = average.source

    def map_(key: str, group: str, zones: Zones, told: str) -> Alternative:
        return Alternative(key, group, given.instrument, zones, told, raw=True)

    def scaled(share: float) -> Zones:
        return {w: average.zones[w] * share for w in PLATES}

    def school(key: str) -> Alternative:
        row = table("graduale.jobs", "alternatives")["school"][key]
        shapes = {w: school_shape(row[w], 2.0) for w in PLATES}
        zones = {
            w: of_mass(shapes[w], as_it_is(given.layouts[w]), given.free[w], given.mass_g[w], key)
            for w in PLATES
        }
        return map_(key, "schools", zones, row["source"])

    by_length = given.instrument.body.length_mm / given.reference.body.length_mm
    out = {
        "reference": Offer("maps", lambda g, p: map_("reference", "maps", scaled(1.0), source)),
        "scaled": Offer("maps", lambda g, p: map_("scaled", "maps", scaled(by_length), source)),
        "equal-across": Offer("maps", lambda g, p: map_("equal-across", "maps", _equal(g), source)),
    }
    for key in table("graduale.jobs", "alternatives")["school"]:
        out[key] = Offer("schools", lambda g, p, key=key: school(key))  # type: ignore[misc]
    return out


def _equal(given: Given) -> Zones:
    bodies = plate_bodies(given.reference)
    return {
        w: equal_across(
            given.known.members["average"].zones[w],
            strips(given.instrument, given.bodies[w]),
            strips(given.reference, bodies[w]),
        )
        for w in PLATES
    }


def parts(given: Given) -> Offers:
    """Another bar, post or set of strings, the decided map kept."""
    inst, rows = given.instrument, table("graduale.jobs", "alternatives")
    out: Offers = {}
    if inst.bar.present:
        out["bar-none"] = _changed("bar-none", replace_bar(inst, present=False), "")
        for key, row in rows["bar"].items():
            bar = _other_bar(inst, row)
            values = {"height": bar.height_mm, "move": abs(bar.lower_y_mm - inst.bar.lower_y_mm)}
            changed = replace(inst, bar=bar)
            out[f"bar-{key}"] = _changed(f"bar-{key}", changed, row["source"], values)
    else:
        added = replace_bar(inst, present=True)
        values = {"height": inst.bar.height_mm}
        out["bar-added"] = _changed("bar-added", added, "the kind's own bar", values)
    if inst.post.present:
        none = replace(inst, post=replace(inst.post, present=False))
        out["post-none"] = _changed("post-none", none, "")
        for key, row in rows["post"].items():
            post = _other_post(inst, row)
            move = float(np.hypot(post.x_mm - inst.post.x_mm, post.y_mm - inst.post.y_mm))
            values = {"diameter": post.diameter_mm, "move": move}
            changed = replace(inst, post=post)
            out[f"post-{key}"] = _changed(f"post-{key}", changed, row["source"], values)
    else:
        added = replace(inst, post=replace(inst.post, present=True))
        out["post-added"] = _changed("post-added", added, "the kind's own post")
    used = {s.material for s in inst.strings.strings}
    for kind, row in sets().items():
        if used != {kind}:
            out[kind] = _strings(kind, row.source)
    return out


def replace_bar(inst: Instrument, *, present: bool) -> Instrument:
    """The instrument with or without its bar."""
    return replace(inst, bar=replace(inst.bar, present=present))


def _other_bar(inst: Instrument, row: Table) -> Bar:
    bar, side = inst.bar, np.sign(inst.bar.lower_y_mm + inst.bar.upper_y_mm) or 1.0
    move = side * row.get("outward_mm", 0.0) * inst.body.length_mm / FULL_SIZE_MM
    height = bar.height_mm * row.get("height", 1.0)
    return replace(
        bar,
        height_mm=height,
        end_height_mm=min(bar.end_height_mm, height),
        lower_y_mm=bar.lower_y_mm + float(move),
        upper_y_mm=bar.upper_y_mm + float(move),
    )


def _other_post(inst: Instrument, row: Table) -> Post:
    post, scale = inst.post, inst.body.length_mm / FULL_SIZE_MM
    side = float(np.sign(post.y_mm)) or -1.0
    return replace(
        post,
        diameter_mm=post.diameter_mm * row.get("diameter", 1.0),
        x_mm=post.x_mm + scale * row.get("along_mm", 0.0),
        y_mm=post.y_mm + side * scale * row.get("outward_mm", 0.0),
    )


def _changed(
    key: str, inst: Instrument, source: str, values: Mapping[str, float] | None = None
) -> Offer:
    group = key.partition("-")[0]

    def make(given: Given, progress: Progress) -> Alternative:
        told = source or "the decided map, without the part"
        clash = _clash(inst)
        return Alternative(
            key, group, inst, given.zones, told, clash=clash, values=dict(values or {})
        )

    return Offer(group, make)


def _strings(kind: str, source: str) -> Offer:
    def make(given: Given, progress: Progress) -> Alternative:
        inst = given.instrument
        try:
            inst = replace(inst, strings=restrung(inst.strings, kind))
        except Refused as refused:
            told = refused.findings[0].sentence
            return Alternative(kind, "strings", inst, given.zones, source, clash=told)
        return Alternative(kind, "strings", inst, given.zones, source)

    return Offer("strings", make)


def _clash(inst: Instrument) -> str:
    """The first reason why the parts do not fit, or nothing."""
    shapes, found = shapes_of(inst, "")
    if shapes is not None:
        found = clashes(inst, shapes, "")
    wrong = [f.sentence for f in found if f.level == "error"]
    return wrong[0] if wrong else ""


def chosen(only: Sequence[str], there: Offers) -> list[str]:
    """Keys to be computed, in the order of the list; `only` holds keys and groups, empty: all.

    Errors: Refused for a name that is neither.
    """
    groups = {o.group for o in there.values()}
    for name in only:
        if name not in there and name not in groups:
            raise _unknown(name, there)
    return [k for k, o in there.items() if not only or k in only or o.group in only]


def _unknown(name: str, there: Offers) -> Refused:
    part = name.partition("-")[0]
    if f"{part}-added" in there:
        sentence = say("alternatives.no_part", part=part, name=name)
        return refuse("alternative-without-part", "--only", sentence)
    if name == "wanted":
        return refuse("no-wish", "--only", say("alternatives.no_wish"))
    names = ", ".join(dict.fromkeys([*(o.group for o in there.values()), *there]))
    sentence = say("alternatives.unknown", name=name) + f" {names}."
    return refuse("unknown-alternative", "--only", sentence)
