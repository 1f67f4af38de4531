"""What was measured of a plate on the bench: tones, weight, and how well each is known."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats

MODEL_SPREAD = 0.01  # relative, of a computed mode: gaps to the solid model (docs/verification.md)
HERTZ_SPREAD = 0.5  # a tone read to 1 Hz or so [own]
MASS_SPREAD = 0.003  # relative: a kitchen scale, and moisture that comes and goes [own]


@dataclass(frozen=True)
class Tap:
    """One tone as heard, Hz, and what the maker took it for (a mode's name), if anything."""

    hz: float
    name: str | None = None


@dataclass(frozen=True, eq=False)
class Evidence:
    """taps in the maker's order; mass (None: not weighed); spread of the thickness map as a whole
    (relative), of a computed mode (relative) and of one tone (Hz)."""

    taps: tuple[Tap, ...]
    mass_g: float | None
    thickness_spread: float
    model_spread: float = MODEL_SPREAD
    hertz_spread: float = HERTZ_SPREAD

    @property
    def logs(self) -> Floats:
        """log hz (n,)."""
        return np.log([t.hz for t in self.taps])

    @property
    def deviation(self) -> Floats:
        """Of log hz from the mode's (n,)."""
        hz = np.array([t.hz for t in self.taps])
        return np.hypot(self.model_spread, self.hertz_spread / hz)
