"""The doubt of one instrument, and of the reference violin by the same code; both cached."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from math import sqrt

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.crew import ALONE, Crew
from graduale.base.digest import code_digest, digest, versions
from graduale.base.progress import Progress
from graduale.box import meshing
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.firstorder import first_order
from graduale.box.readouts import reading_of
from graduale.box.tones import free_plate
from graduale.jobs.apart import bodies_of
from graduale.jobs.reference import PLATES, ROOMS, Reference, packaged_violin
from graduale.plan.tools import tools
from graduale.records.instrument import Instrument, PlateName
from graduale.store.cache import Entry, user_cache
from graduale.thickness.doubt import Doubt, Theirs
from graduale.thickness.sources import HEARD, Figures, Heard, Source, sources
from graduale.wood.scatter import prior
from graduale.wood.species import species

_ROOMS = (*ROOMS, "graduale.records", "graduale.jobs")


def doubt_of(
    instrument: Instrument, known: Reference, progress: Progress, helpers: Crew = ALONE
) -> Doubt:
    """The instrument's doubt: effects on logarithms, taken for both at the average violin's map
    (they move little with thickness).

    Errors: Refused by geometry, wood, strings.
    """
    progress(0.0, "doubt")
    usual = known.members["average"].zones
    violin = packaged_violin()
    asked = helpers.ask(_violins, usual)
    own = _remembered(instrument, usual, as_it_is=False)
    names, found = asked.result(lambda: progress(0.5, "doubt"))
    theirs = _theirs(violin, names, found)
    progress(1.0, "doubt")
    return Doubt(*own, theirs, instrument.confidence)


def surer(known: Reference, doubt: Doubt) -> Reference:
    """The reference with what the confidence takes off its limits."""
    return replace(known, sure=doubt.sure())


def _theirs(violin: Instrument, names: tuple[str, ...], found: tuple[Source, ...]) -> Theirs:
    total = np.sqrt(sum(s.variance() for s in found))
    wood: dict[str, Mapping[str, Floats]] = {}
    for which in PLATES:
        source = next(s for s in found if s.key == f"{which} wood")
        rows = {n: source.effects[:, i] for i, n in enumerate(names)}
        covariance = prior(species(violin.plate(which).wood.species)).ravel()
        wood[which] = rows | {"covariance": covariance}
    return Theirs(dict(zip(names, total.tolist(), strict=True)), wood)


def _violins(zones: Mapping[PlateName, Floats]) -> tuple[tuple[str, ...], tuple[Source, ...]]:
    """Those of the reference violin."""
    return _remembered(packaged_violin(), zones, as_it_is=True)


def _remembered(
    instrument: Instrument, zones: Mapping[PlateName, Floats], *, as_it_is: bool
) -> tuple[tuple[str, ...], tuple[Source, ...]]:
    """Figures and sources, from the cache or made anew (a few seconds)."""
    facts = asdict(instrument)
    aside = ("drill", "workshop", "margin", "confidence", "name")
    kept = {k: v for k, v in facts.items() if k not in aside}
    kept["caliper_spread_mm"] = instrument.workshop.caliper_spread_mm
    key = digest("doubt", kept, dict(zones), as_it_is, code_digest(*_ROOMS), versions())
    entry = user_cache().remember(key, lambda: _entry(*_made(instrument, zones, as_it_is)))
    table = entry.document
    found = tuple(
        Source(
            row["key"],
            row["group"],
            tuple(row["params"]),
            entry.arrays[f"effects {i}"],
            entry.arrays[f"cov {i}"],
        )
        for i, row in enumerate(table["sources"])
    )
    return tuple(table["names"]), found


def _entry(names: tuple[str, ...], found: tuple[Source, ...]) -> Entry:
    rows = [{"key": s.key, "group": s.group, "params": list(s.params)} for s in found]
    arrays = {f"effects {i}": s.effects for i, s in enumerate(found)}
    arrays |= {f"cov {i}": s.cov for i, s in enumerate(found)}
    return Entry({"names": list(names), "sources": rows}, arrays)


def figures_of(
    instrument: Instrument, zones: Mapping[PlateName, Floats], *, as_it_is: bool = False
) -> Figures:
    """Box and free plates on the deciding mesh, solved with all adjoints.

    as_it_is: a map that nobody may change (no least thickness, no steepest change).
    """
    own = bodies_of(instrument)
    instrument, bodies, layouts = own.instrument, own.bodies, dict(own.layouts)
    if as_it_is:
        layouts = {
            w: replace(layouts[w], least_mm=0.0, least_channel_mm=0.0, steepest=np.inf)
            for w in PLATES
        }
    fields = {w: layouts[w].at(zones[w]) for w in PLATES}
    box = build_box(instrument, bodies, fields, meshing.DECIDING_MM)
    order = first_order(reading_of(box, cases_of(box)), box.thickness(fields))
    heard = {}
    for w in PLATES:
        free = free_plate(instrument, bodies[w], fields[w], meshing.DECIDING_MM)
        heard[w] = Heard(free, free.thickness(fields[w]), free.modes(fields[w], HEARD))
    return Figures(order, heard)


def _made(
    instrument: Instrument, zones: Mapping[PlateName, Floats], as_it_is: bool
) -> tuple[tuple[str, ...], tuple[Source, ...]]:
    figures = figures_of(instrument, zones, as_it_is=as_it_is)
    last = tools("spruce")[-1].scatter_mm / sqrt(3.0)
    caliper = instrument.workshop.caliper_spread_mm
    return figures.names, sources(figures, instrument.known, caliper, last)
