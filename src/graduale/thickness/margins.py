"""What a wider margin costs: the same set of zones at other margins, from the settled answer.

The limits scale with the margin; the demands follow the power laws of the fine box at the settled
map. No further solve: the row of the chosen margin is settled, the others are approximate.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.records.instrument import PlateName
from graduale.thickness.choose import (
    MOST_MM,
    Choice,
    Problem,
    Zones,
    law_of,
    least_of,
    parted,
)
from graduale.thickness.field import FAMILIES
from graduale.thickness.power import PowerLaw, lightest

MARGINS = (0.0, 0.05, 0.10, 0.20, 0.30)
_PLATES: tuple[PlateName, PlateName] = ("top", "back")
_REACH = 0.5
_ENOUGH = 0.003  # log of demand over limit that still counts as met


@dataclass(frozen=True, eq=False)
class AtMargin:
    """The lightest map at one margin: zones, what it weighs more than the settled one (g, by
    plate), whether every limit that can be met is met, whether it is the settled map itself."""

    margin: float
    zones: Zones
    more_g: Mapping[PlateName, float]
    met: bool
    settled: bool


def at_margins(settled: Problem, choice: Choice, margin: float) -> tuple[AtMargin, ...]:
    """The usual margins and the chosen one, in order. `choice` holds the fine solution with its
    slopes; `settled` its box, with the limits at `margin`."""
    assert choice.solved is not None
    bases = settled.bases()
    law = law_of(settled.reading, bases, choice.zones, choice.solved)
    here = _grams(settled, choice.zones)
    out = []
    for other in sorted({*MARGINS, margin}):
        same = other == margin
        zones, missing = choice.zones, max(law.over(_within(settled, choice)), 0.0)
        if not same:
            zones, missing = _lightest(settled, choice, law, (1.0 + margin) / (1.0 + other))
        there = _grams(settled, zones)
        more = {w: there[w] - here[w] for w in _PLATES}
        out.append(AtMargin(other, zones, more, missing < _ENOUGH, same))
    return tuple(out)


def _within(settled: Problem, choice: Choice) -> dict[str, float]:
    return {k: v for k, v in settled.limits.items() if k not in choice.unreachable}


def _lightest(
    settled: Problem, choice: Choice, law: PowerLaw, factor: float
) -> tuple[Zones, float]:
    family = FAMILIES[choice.family]
    wide: Floats = np.asarray(np.kron(np.eye(2), family), dtype=np.float64)
    bounds = [(b, MOST_MM) for w in _PLATES for b in least_of(settled.layouts[w], family)]
    limits = {k: v * factor for k, v in _within(settled, choice).items()}
    zones, missing = lightest(law, wide, limits, bounds, _REACH)
    return parted(zones), missing


def _grams(settled: Problem, zones: Zones) -> dict[PlateName, float]:
    """Mass of the carved plates at zone values, g."""
    box = settled.reading.box
    row, bases = box.structure.mass_slope_g(), settled.bases()
    out: dict[PlateName, float] = {}
    for w in _PLATES:
        start, t = box.first_node(w), bases[w].thickness(np.asarray(zones[w]))
        out[w] = float(row[start : start + len(t)] @ t)
    return out
