"""Alternatives that are searched for: the lightest map, a wished mass or tone, a part decided
anew."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.base.progress import Progress, part
from graduale.box import meshing
from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.readouts import reading_of, solve
from graduale.box.tones import tones
from graduale.box.verdicts import limits
from graduale.jobs.alternatives_list import Alternative, Given, Zones
from graduale.jobs.alternatives_solve import (
    TONES,
    Document,
    cache_key,
    facts,
    main_tone,
    remembered,
    yard,
    zone_values,
)
from graduale.jobs.deciding import decide
from graduale.jobs.reference import PLATES, Reference
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.choose import Problem, choose, mended
from graduale.thickness.field import FAMILIES, Field
from graduale.thickness.wanted import Wish, nearest

FREEST = "centre, both bouts, channel"
_MENDS = 8


@dataclass(frozen=True, eq=False)
class DecidedMap:
    """The zones (4,) of both plates, and the set that they were taken from."""

    zones: Zones
    family: str


def decided_map(instrument: Instrument, known: Reference, progress: Progress) -> DecidedMap:
    """Decided anew, or from the cache. Errors: as `decide`."""

    def make() -> Document:
        made = decide(instrument, known, progress)
        zones = {w: made.plates[w].field.zones for w in PLATES}
        return {"zones": zone_values(zones), "family": made.choice.family}

    key = cache_key("decided map", facts(instrument), yard(known))
    found = remembered(key, make)
    return DecidedMap({w: np.array(found["zones"][w]) for w in PLATES}, found["family"])


def wished(given: Given, progress: Progress) -> Alternative:
    """The map nearest to the decided one that has what the maker wishes.

    Errors: Refused when a wish cannot be reached.
    """
    zones = dict(given.zones)
    for w, wish in given.wishes.items():
        main = -1
        if wish.tone_hz is not None:
            heard = tones(given.free[w], given.layouts[w].at(given.zones[w]), TONES)
            main = heard.index(main_tone(heard))
        zones[w] = nearest(
            given.layouts[w], given.free[w], given.zones[w], wish, main, _asked(w, wish), progress
        )
    values = {
        f"{w} {what}": value
        for w, wish in given.wishes.items()
        for what, value in (("mass", wish.mass_g), ("tone", wish.tone_hz))
        if value is not None
    }
    told = "nearest to the decided map: least mean square of what is added or taken off [own]"
    return Alternative("wanted", "wanted", given.instrument, zones, told, values=values)


def _asked(which: PlateName, wish: Wish) -> str:
    names = [n for n, v in (("mass", wish.mass_g), ("tone", wish.tone_hz)) if v is not None]
    return " ".join(f"--{which}-{n}" for n in names)


def lightest(given: Given, progress: Progress) -> Alternative:
    """The least mass that the freest zones allow, with no weight on plainness."""

    def make() -> Document:
        return {"zones": zone_values(_lightest(given, progress))}

    about = (facts(given.instrument), zone_values(given.zones), given.size_mm)
    key = cache_key("lightest", about, yard(given.known))
    found = remembered(key, make)
    zones = {w: np.array(found["zones"][w]) for w in PLATES}
    return Alternative(
        "lightest", "lightest", given.instrument, zones, "least mass, freest zones, any saving"
    )


def _lightest(given: Given, progress: Progress) -> Zones:
    start = {w: given.layouts[w].at(given.zones[w]) for w in PLATES}
    fine = _problem(given, start, given.size_mm)
    coarse = _problem(given, start, meshing.DECIDING_MM)
    family = FAMILIES[FREEST]
    found = choose(coarse, fine, part(progress, 0.0, 0.7), {FREEST: family})
    zones, unreachable = dict(found.zones), set(found.unreachable)
    for _ in range(_MENDS):
        progress(0.8, "settle")
        settled = _problem(given, {w: given.layouts[w].at(zones[w]) for w in PLATES}, given.size_mm)
        box = settled.reading.box
        fields = {w: given.layouts[w].at(zones[w]) for w in PLATES}
        solved = solve(settled.reading, box.thickness(fields), slopes=True)
        within = {k: v for k, v in settled.limits.items() if k not in unreachable}
        if all(solved.values[k] <= v for k, v in within.items()):
            break
        first = {w: box.first_node(w) for w in PLATES}
        zones = dict(mended(family, zones, settled.bases(), first, solved, within))
    return zones


def _problem(given: Given, nominal: Mapping[PlateName, Field], size_mm: float) -> Problem:
    box = build_box(given.instrument, given.bodies, nominal, size_mm)
    reading = reading_of(box, cases_of(box))
    allowed = limits(reading, given.known.band, given.instrument.margin)
    return Problem(reading, given.layouts, allowed)


def wishes_of(typed: Mapping[str, str]) -> dict[PlateName, Wish]:
    """'top_mass_g', 'back_mass_g', 'top_tone_hz', 'back_tone_hz' as typed -> wishes by plate.

    Errors: Refused for what is no number above zero.
    """
    out: dict[PlateName, Wish] = {}
    for w in PLATES:
        mass, tone = _number(typed, f"{w}_mass_g"), _number(typed, f"{w}_tone_hz")
        if mass is not None or tone is not None:
            out[w] = Wish(mass, tone)
    return out


def _number(typed: Mapping[str, str], name: str) -> float | None:
    text = typed.get(name)
    if text is None:
        return None
    flag = "--" + name.rsplit("_", 1)[0].replace("_", "-")
    unit = "g" if name.endswith("_g") else "Hz"
    bare = text.strip().removesuffix(unit).strip()
    try:
        value = float(bare)
    except ValueError:
        value = float("nan")
    if not (np.isfinite(value) and value > 0.0):
        raise refuse(
            "bad-wish", flag, f"'{text}' is no figure above zero; write a number in {unit}."
        )
    return value


def same(a: Zones, b: Zones) -> bool:
    """Whether two maps are one."""
    return all(bool(np.allclose(np.asarray(a[w]), np.asarray(b[w]))) for w in PLATES)


__all__ = ["DecidedMap", "Floats", "decided_map", "lightest", "same", "wished", "wishes_of"]
