"""The closed boxes that shell and referee both compute: two examples, a thickness map for each."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from graduale.box.build import build_box
from graduale.box.cases import cases_of
from graduale.box.plate import PlateBody, plate_bodies
from graduale.box.readouts import reading_of, solve
from graduale.files.instrument import load_instrument
from graduale.records.instrument import Instrument, PlateName
from graduale.thickness.field import Field, layout_of
from tests.outside.referee.box_solid import BoxAnswer, Size, answer, box_solid

EXAMPLES = Path(__file__).parents[3] / "examples"
# centre, upper, lower, channel; the violin has the averages of the trade, the fiddle is uneven
ZONES = {
    "narrow-fiddle": {"top": (3.1, 2.7, 2.6, 2.4), "back": (3.4, 2.6, 2.8, 2.5)},
    "violin": {"top": (3.0, 2.7, 2.7, 2.4), "back": (4.3, 2.5, 2.5, 2.3)},
}
VARIANTS = ("whole", "no post", "no bar", "no soundholes", "none of them")
READOUTS = {
    "across top": "mm/N",
    "across back": "mm/N",
    "sag": "mm",
    "lengthwise": "rad",
    "lengthwise per N m": "rad",
}


@dataclass(frozen=True)
class Case:
    """One example as a whole or with something left out."""

    name: str
    variant: str = "whole"

    @cached_property
    def instrument(self) -> Instrument:
        made = load_instrument(EXAMPLES / self.name / "instrument.toml").instrument
        if self.variant in ("no post", "none of them"):
            made = replace(made, post=replace(made.post, present=False))
        if self.variant in ("no bar", "none of them"):
            made = replace(made, bar=replace(made.bar, present=False))
        if self.variant in ("no soundholes", "none of them"):
            made = replace(made, soundholes=replace(made.soundholes, present=False))
        return made

    @cached_property
    def bodies(self) -> dict[PlateName, PlateBody]:
        return plate_bodies(self.instrument)

    @cached_property
    def fields(self) -> dict[PlateName, Field]:
        zones = ZONES[self.name]
        return {
            w: layout_of(self.instrument, b).at(np.array(zones[w])) for w, b in self.bodies.items()
        }

    def shell(self, size_mm: float) -> dict[str, float]:
        """The program's own read-outs, without the presses."""
        box = build_box(self.instrument, self.bodies, self.fields, size_mm)
        reading = reading_of(box, cases_of(box, presses=False))
        values = dict(solve(reading, box.thickness(self.fields), slopes=False).values)
        values["sag"] = values["sag share"] * reading.arch_mm
        return {k: values[k] for k in READOUTS if k in values}

    def every(self, size_mm: float) -> dict[str, float]:
        """All of the program's read-outs on one mesh."""
        box = build_box(self.instrument, self.bodies, self.fields, size_mm)
        reading = reading_of(box, cases_of(box))
        return dict(solve(reading, box.thickness(self.fields), slopes=False).values)

    def solid(self, size: Size) -> tuple[dict[str, float], int]:
        """The referee's read-outs, and how many freedoms it has."""
        found: BoxAnswer = answer(box_solid(self.instrument, self.bodies, self.fields, size))
        values = (
            found.across_top,
            found.across_back,
            found.sag_mm,
            found.lengthwise,
            found.lengthwise_per_nm,
        )
        read = {k: v for k, v in zip(READOUTS, values, strict=True) if v is not None}
        return read, found.freedoms
