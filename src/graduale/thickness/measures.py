"""What a maker can measure, and how it narrows each source of doubt."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from graduale.base.arrays import Floats
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.doubt import Doubt
from graduale.thickness.sources import Source
from graduale.wood.scatter import Look, across_weights, narrowed
from graduale.wood.species import species

PLATES: tuple[PlateName, PlateName] = ("top", "back")

# What is left (one deviation) after a careful measurement; each a '+-' over sqrt 3 [own]
_WEIGHED = 0.01  # density of the plate from mass and size of its board
_TAPPED = 0.03  # modulus along from an end tap; across from a strip that sounds or is bent: 0.05
_BENT = 0.05
_ANGLE_DEG = 1.0 / sqrt(3.0)
_TENSION = 0.02
# source -> what is left, mm
_LENGTHS: Mapping[str, tuple[str, float]] = {
    "top arch": ("arch", 0.2),
    "back arch": ("arch", 0.2),
    "top edge": ("edge", 0.1),
    "back edge": ("edge", 0.1),
    "length": ("outline", 0.5),
    "lower width": ("outline", 0.5),
    "waist width": ("outline", 0.5),
    "upper width": ("outline", 0.5),
    "rib height": ("rib_height", 0.2),
    "rib thickness": ("rib_thickness", 0.05),
    "bar height": ("bar", 0.2),
    "bar width": ("bar", 0.1),
    "bridge height": ("string_line", 0.3),
    "neck nut_height": ("string_line", 0.3),
    "neck saddle_height": ("string_line", 0.3),
    "top caliper": ("caliper", 0.03),
    "back caliper": ("caliper", 0.03),
}


# what to measure -> how well a careful hand does, mm; a bar is told by its height
LEFT_MM: Mapping[str, float] = dict(reversed(tuple(_LENGTHS.values())))


@dataclass(frozen=True, eq=False)
class Narrowed:
    """One thing to measure: its key, plate, and the covariance (p, p) that it leaves, by source."""

    key: str
    plate: PlateName | None
    left: Mapping[str, Floats]


def measures(instrument: Instrument, doubt: Doubt) -> tuple[Narrowed, ...]:
    """All that would narrow a source of this instrument."""
    by_key = {s.key: s for s in doubt.sources}
    return (*_boards(instrument, by_key), *_sizes(by_key), *_angles(by_key), *_strings(by_key))


def _boards(instrument: Instrument, by_key: Mapping[str, Source]) -> Iterator[Narrowed]:
    for which in PLATES:
        choice = instrument.plate(which).wood
        row, board = species(choice.species), choice.board
        source = by_key[f"{which} wood"]
        weigh = Look({"density": 1.0}, _WEIGHED)
        looks: dict[str, tuple[Look, ...]] = {}
        weighed = choice.density_kg_m3 is not None or board.mass_g is not None
        if not weighed:
            looks["weigh"] = (weigh,)
        if choice.e_along_mpa is None and board.end_tap_hz is None and board.along_tap_hz is None:
            looks["tap_along"] = (Look({"EL": 1.0}, _TAPPED), *(() if weighed else (weigh,)))
        if choice.e_across_mpa is None and board.cross_tap_hz is None:
            looks["bend_across"] = (
                Look(across_weights(row, choice.ring_angle_deg), _BENT),
                *(() if weighed else (weigh,)),
            )
        for key, some in looks.items():
            yield Narrowed(key, which, {source.key: narrowed(source.cov, some)})


def _sizes(by_key: Mapping[str, Source]) -> Iterator[Narrowed]:
    found: dict[tuple[str, PlateName | None], dict[str, Floats]] = {}
    for name, (key, surely_mm) in _LENGTHS.items():
        source = by_key.get(name)
        left = surely_mm / sqrt(3.0)
        if source is None or float(source.cov[0, 0]) <= left**2:
            continue
        first = name.partition(" ")[0]
        plate: PlateName | None = "top" if first == "top" else "back" if first == "back" else None
        if key == "caliper":
            plate = None
        found.setdefault((key, plate), {})[name] = np.array([[left**2]])
    for (key, plate), some in found.items():
        yield Narrowed(key, plate, some)


def _angles(by_key: Mapping[str, Source]) -> Iterator[Narrowed]:
    for which in PLATES:
        for angle in ("ring_angle", "runout"):
            source = by_key.get(f"{which} {angle}")
            if source is not None and float(source.cov[0, 0]) > _ANGLE_DEG**2:
                yield Narrowed(angle, which, {source.key: np.array([[_ANGLE_DEG**2]])})


def _strings(by_key: Mapping[str, Source]) -> Iterator[Narrowed]:
    source = by_key["string tension"]
    if float(source.cov[0, 0]) > _TENSION**2:
        yield Narrowed("tension", None, {source.key: np.array([[_TENSION**2]])})
