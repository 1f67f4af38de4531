"""A small closed box for the tests: the narrow example on a coarse mesh, built once."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from graduale.box.build import Box, build_box
from graduale.box.cases import cases_of
from graduale.box.plate import PlateBody, plate_bodies
from graduale.box.readouts import Reading, Solved, reading_of, solve
from graduale.files.instrument import load_instrument
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Field, Layout, layout_of

EXAMPLE = Path(__file__).parents[2] / "examples" / "narrow-fiddle" / "instrument.toml"
COARSE_MM = 9.0
PLATES: tuple[PlateName, PlateName] = ("top", "back")


@dataclass(frozen=True, eq=False)
class Small:
    """The parts of one built box."""

    instrument: Instrument
    bodies: dict[PlateName, PlateBody]
    layouts: dict[PlateName, Layout]
    fields: dict[PlateName, Field]
    box: Box
    reading: Reading
    t_nodes: "np.typing.NDArray[np.float64]"
    solved: Solved


@cache
def narrow() -> Instrument:
    """The narrow example."""
    return load_instrument(EXAMPLE).instrument


@cache
def small() -> Small:
    """The narrow example as a coarse box, solved with slopes at an uneven map."""
    instrument = narrow()
    bodies = plate_bodies(instrument)
    layouts = {w: layout_of(instrument, bodies[w]) for w in PLATES}
    zones = {"top": [3.1, 2.7, 2.6, 2.4], "back": [3.4, 2.6, 2.8, 2.5]}
    fields = {w: layouts[w].at(np.array(zones[w])) for w in PLATES}
    box = build_box(instrument, bodies, fields, COARSE_MM)
    reading = reading_of(box, cases_of(box))
    t_nodes = box.thickness(fields)
    return Small(
        instrument,
        bodies,
        layouts,
        fields,
        box,
        reading,
        t_nodes,
        solve(reading, t_nodes, slopes=True),
    )
