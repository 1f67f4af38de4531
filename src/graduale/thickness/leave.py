"""How much the top keeps before its soundholes are cut: a result, not a constant.

The bar is not there yet. Under the working hand (60 N from inside, plate held at the line of its
ribs) the plate with its holes cut and no bar shall be stressed no more than the finished top with
its bar: the thickness is raised by the square root of the stress ratio (stress goes as 1/t^2),
row by row along the plate, by the most that the row needs. On top comes what the last tools still
take off.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from graduale.base.arrays import Floats
from graduale.box.plate import PlateBody, ThicknessAt, without_openings
from graduale.box.spots import press_spots
from graduale.box.working import WorkPress, work_press
from graduale.records.instrument import Instrument
from graduale.thickness.field import Layout

_MOST_FACTOR = 2.5


@dataclass(frozen=True, eq=False)
class LeaveField:
    """Thickness rule: the final rule times a factor >= 1 along the plate, plus an allowance.

    rows_x, rows_factor (r,): the factor on the crown; it fades to 1 toward the platform, where
    the last tools still find `allowance_mm`. One curve along the plate keeps the map plain to
    carve.
    """

    layout: Layout
    final: ThicknessAt
    rows_x: Floats
    rows_factor: Floats
    allowance_mm: float

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) at points of the inside face; never above what the outside leaves."""
        basis = self.layout.basis(xy)
        crown = 1.0 - basis.weights[:, 3]
        along = PchipInterpolator(self.rows_x, self.rows_factor, extrapolate=False)(
            np.clip(xy[:, 0], self.rows_x[0], self.rows_x[-1])
        )
        factor = 1.0 + crown * (along - 1.0)
        grown = self.final(xy) * factor + self.allowance_mm
        return np.where(basis.seat, basis.highest, np.minimum(grown, basis.highest))


@dataclass(frozen=True, eq=False)
class Leave:
    """The rule; the working press on the finished top, and on the top at this rule before and after
    its soundholes are cut (no bar)."""

    field: LeaveField
    finished: WorkPress
    before_holes: WorkPress
    holes_cut: WorkPress
    factors: Floats


def leave_before_holes(
    instrument: Instrument,
    body: PlateBody,
    layout: Layout,
    final: ThicknessAt,
    allowance_mm: float,
    size_mm: float,
) -> Leave:
    """What to leave on the top before the soundholes; `allowance_mm` for the tools still to
    come."""
    spots = press_spots(instrument, body)
    finished = work_press(instrument, body, final, spots, size_mm, bar=True)
    bare = work_press(instrument, body, final, spots, size_mm, bar=False)
    factors = np.sqrt(np.maximum(bare.use / finished.use, 1.0))
    rows = sorted({s.x_mm for s in spots})
    most = [max(f for f, s in zip(factors, spots, strict=True) if s.x_mm == x) for x in rows]
    capped = np.clip(_no_narrow_valleys(np.array(most)), 1.0, _MOST_FACTOR)
    field = LeaveField(layout, final, np.array(rows), capped, allowance_mm)
    cut = work_press(instrument, body, field, spots, size_mm, bar=False)
    whole = work_press(instrument, without_openings(body), field, spots, size_mm, bar=False)
    return Leave(field, finished, whole, cut, factors)


def _no_narrow_valleys(rows: Floats) -> Floats:
    """No row lower than the lower of its neighbours on both sides: a gouge leaves no such dip."""
    padded = np.concatenate([rows[:1], rows, rows[-1:]])
    out: Floats = np.maximum(rows, np.minimum(padded[:-2], padded[2:]))
    return out
