"""How much the top keeps before its soundholes are cut: a result, not a constant.

The bar is not there yet. Under the working hand (60 N from inside, plate held at the line of its ribs)
the plate with its holes cut and no bar shall be stressed no more than the finished top with its bar:
at each spot the thickness is raised by the square root of the stress ratio (stress goes as 1/t^2). On top
comes what the last tools still take off.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RBFInterpolator

from graduale.base.arrays import Floats
from graduale.box.plate import PlateBody, ThicknessAt
from graduale.box.spots import Spot, press_spots
from graduale.box.working import WorkPress, work_press
from graduale.records.instrument import Instrument
from graduale.thickness.field import Layout

_SMOOTHING = 0.02
_MOST_FACTOR = 2.2


@dataclass(frozen=True, eq=False)
class LeaveField:
    """Thickness rule: the final rule times a factor >= 1 that varies smoothly, plus an allowance."""

    layout: Layout
    final: ThicknessAt
    factor: RBFInterpolator
    allowance_mm: float

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) at points of the inside face; never above what the outside leaves."""
        basis = self.layout.basis(xy)
        grown = self.final(xy) * np.clip(self.factor(xy), 1.0, _MOST_FACTOR) + self.allowance_mm
        return np.where(basis.seat, basis.highest, np.minimum(grown, basis.highest))


@dataclass(frozen=True, eq=False)
class Leave:
    """The rule, and the working press on the finished top and on the bare one."""

    field: LeaveField
    finished: WorkPress
    bare: WorkPress
    factors: Floats


def leave_before_holes(
    instrument: Instrument,
    body: PlateBody,
    layout: Layout,
    final: ThicknessAt,
    allowance_mm: float,
    size_mm: float,
) -> Leave:
    """What to leave on the top before the soundholes; `allowance_mm` for the tools still to come."""
    spots = press_spots(instrument, body)
    finished = work_press(instrument, body, final, spots, size_mm, bar=True)
    bare = work_press(instrument, body, final, spots, size_mm, bar=False)
    factors = np.sqrt(np.maximum(bare.use / finished.use, 1.0))
    places = np.array([[s.x_mm, s.y_mm] for s in spots])
    both = np.concatenate([places, places * np.array([1.0, -1.0])])  # symmetric: the larger side
    mirrored = np.maximum(factors, _mirrored(spots, factors))
    rule = RBFInterpolator(
        both, np.concatenate([mirrored, mirrored]), neighbors=24, smoothing=_SMOOTHING, kernel="linear"
    )
    return Leave(LeaveField(layout, final, rule, allowance_mm), finished, bare, factors)


def _mirrored(spots: tuple[Spot, ...], values: Floats) -> Floats:
    """Values of the spots on the other side (their own where there is none)."""
    place = {(round(s.x_mm, 1), round(s.y_mm, 1)): v for s, v in zip(spots, values, strict=True)}
    return np.array(
        [
            place.get((round(s.x_mm, 1), round(-s.y_mm, 1)), v)
            for s, v in zip(spots, values, strict=True)
        ]
    )
