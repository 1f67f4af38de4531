"""The map nearest to the decided one at which a plate has a wanted mass or tap tone.

Nearest: the least area-weighted square of what is added or taken off. Sequential quadratic
programming (SciPy's SLSQP) on the four zones, with exact slopes of mass and tone.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from graduale.base.arrays import Floats
from graduale.base.findings import refuse
from graduale.base.progress import Progress
from graduale.box.tones import FreePlate
from graduale.shell.modes import Modes
from graduale.thickness.choose import MOST_MM
from graduale.thickness.field import Layout

MODES = 12
_NEAR = 2e-3  # relative: how near to the wish counts as reached


@dataclass(frozen=True)
class Wish:
    """What one plate shall have; None: no wish. tone_hz is that of the main tap tone."""

    mass_g: float | None = None
    tone_hz: float | None = None


class _Plate:
    """Mass and main tone of one free plate at zone values, each with its slopes (4,)."""

    def __init__(self, layout: Layout, free: FreePlate, zones: Floats, main: int) -> None:
        self.free, self.basis = free, layout.basis(free.plate.inside_xy)
        self.start = zones
        structure = free.structure
        self.mass_row = structure.mass_slope_g()
        self.area = structure.averaging.T @ structure.shell.surface
        self._first = self._modes(zones) if main >= 0 else None
        self._main = main

    def nodes(self, zones: Floats) -> Floats:
        return self.basis.thickness(zones)

    def mass(self, zones: Floats) -> tuple[float, Floats]:
        grams = self.free.structure.mass_g(self.nodes(zones))
        return grams, self.mass_row @ self.basis.slopes(zones)

    def away(self, zones: Floats) -> tuple[float, Floats]:
        """Mean square change of the thickness and its slopes."""
        change = self.nodes(zones) - self.nodes(self.start)
        total = float(self.area.sum())
        slope = 2.0 * (self.area * change) @ self.basis.slopes(zones) / total
        return float(self.area @ change**2) / total, slope

    def tone(self, zones: Floats) -> tuple[float, Floats]:
        """The mode most like the main one of the start."""
        assert self._first is not None
        t = self.nodes(zones)
        found = self._modes(zones)
        inertia = self.free.structure.mass(t)
        like = np.abs(self._first.shapes[:, self._main] @ (inertia @ found.shapes))
        one = [int(np.argmax(like))]
        mode = Modes(found.hz[one], found.shapes[:, one])
        slopes = self.free.structure.hertz_slopes(t, mode)[:, 0]
        return float(mode.hz[0]), slopes @ self.basis.slopes(zones)

    def _modes(self, zones: Floats) -> Modes:
        return self.free.modes(lambda xy: self.nodes(zones), MODES)


def nearest(
    layout: Layout,
    free: FreePlate,
    zones: Floats,
    wish: Wish,
    main: int,
    where: str,
    progress: Progress,
) -> Floats:
    """Zones (4,) nearest to `zones` that fulfil the wish, between the file's least thickness and
    6 mm. `main`: index of the main tone among the free modes at `zones`.

    Errors: Refused, with the range that can be had, when the wish cannot be fulfilled.
    """
    plate = _Plate(layout, free, zones, main if wish.tone_hz is not None else -1)
    low = np.array([layout.least_mm] * 3 + [layout.least_channel_mm])
    wishes = [(plate.mass, wish.mass_g, "g"), (plate.tone, wish.tone_hz, "Hz")]
    rows = [(of, value, unit) for of, value, unit in wishes if value is not None]
    found = minimize(  # type: ignore[call-overload]  # the stubs know no lambdas here
        lambda z: plate.away(z)[0],
        np.clip(zones, low, MOST_MM),
        jac=lambda z: plate.away(z)[1],
        method="SLSQP",
        bounds=[(float(b), MOST_MM) for b in low],
        constraints=[
            {
                "type": "eq",
                "fun": lambda z, of=of, value=value: of(z)[0] / value - 1.0,
                "jac": lambda z, of=of, value=value: of(z)[1] / value,
            }
            for of, value, _ in rows
        ],
        callback=lambda z: progress(0.5, "wanted"),
        options={"maxiter": 40, "ftol": 1e-7},
    )
    out: Floats = np.clip(found.x, low, MOST_MM)
    for of, value, unit in rows:
        if abs(of(out)[0] / value - 1.0) > _NEAR:
            least, most = sorted((of(low)[0], of(np.full(4, MOST_MM))[0]))
            raise refuse(
                "wish-unreachable",
                where,
                f"{value:g} {unit} cannot be reached: between the least thickness of the file and "
                f"{MOST_MM:g} mm it goes from {least:.4g} to {most:.4g} {unit}"
                + ("" if len(rows) == 1 else ", and two wishes may contradict each other")
                + "; ask for a figure between.",
            )
    return out
