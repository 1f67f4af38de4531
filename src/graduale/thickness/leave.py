"""How much the top keeps before its soundholes are cut: a result, not a constant.

The bar is not there yet. Under the working hand (60 N from inside, plate held at the line of its
ribs) the plate with its holes cut and no bar shall be stressed no more than the finished top with
its bar. Where it would be, the thickness is raised by the square root of the stress ratio (stress
goes as 1/t^2), row by row along the plate, by the most that the row needs: one curve for the crown,
one for the ring beside the platform. What comes of it is solved again and raised again until the
stress is held or the outside leaves no more room. A spot that the hand hardly stresses counts as a
quarter of the most that it does anywhere on the finished top [own]. On top comes what the last
tools still take off.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from graduale.base.arrays import Floats
from graduale.box.plate import PlateBody, ThicknessAt, without_openings
from graduale.box.spots import Spot, press_spots
from graduale.box.working import WorkPress, work_press
from graduale.records.instrument import Instrument
from graduale.thickness.field import Layout

_MOST_FACTOR = 2.5
_ROUNDS = 5
_QUIET_SHARE = 0.25
_HELD = 1.01  # stress ratio that counts as held
_RING_FROM = 0.5  # a spot with more than this share of the ring belongs to the ring's curve


@dataclass(frozen=True, eq=False)
class LeaveField:
    """Thickness rule: the final rule times a factor >= 1 along the plate, plus an allowance.

    rows_x (r,); crown, ring (r,): the factor on the crown and beside the platform, where the last
    tools still find `allowance_mm`. Two curves along the plate keep the map plain to carve.
    """

    layout: Layout
    final: ThicknessAt
    rows_x: Floats
    crown: Floats
    ring: Floats
    allowance_mm: float

    def __call__(self, xy: Floats) -> Floats:
        """Thickness (n,) at points of the inside face; never above what the outside leaves."""
        basis = self.layout.basis(xy)
        share = basis.weights[:, 3]
        factor = (1.0 - share) * self._along(self.crown, xy) + share * self._along(self.ring, xy)
        grown = self.final(xy) * factor + self.allowance_mm
        return np.where(basis.seat, basis.highest, np.minimum(grown, basis.highest))

    def _along(self, rows: Floats, xy: Floats) -> Floats:
        x = np.clip(xy[:, 0], self.rows_x[0], self.rows_x[-1])
        out: Floats = PchipInterpolator(self.rows_x, rows, extrapolate=False)(x)
        return out


@dataclass(frozen=True, eq=False)
class Leave:
    """The rule; the working press on the finished top, and on the top at this rule before and after
    its soundholes are cut (no bar)."""

    field: LeaveField
    finished: WorkPress
    before_holes: WorkPress
    holes_cut: WorkPress

    def ratio(self, state: WorkPress) -> Floats:
        """Stress of a state over that of the finished top, at each spot (s,)."""
        return state.use / _borne(self.finished)


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
    rows = sorted({s.x_mm for s in spots})
    one = np.ones(len(rows))
    field = LeaveField(layout, final, np.array(rows), one, one, 0.0)
    cut = work_press(instrument, body, field, spots, size_mm, bar=False)
    for _ in range(_ROUNDS):
        ratio = cut.use / _borne(finished)
        if ratio.max() <= _HELD:
            break
        field = _raised(field, spots, np.sqrt(np.maximum(ratio, 1.0)))
        cut = work_press(instrument, body, field, spots, size_mm, bar=False)
    field = replace(field, allowance_mm=allowance_mm)
    cut = work_press(instrument, body, field, spots, size_mm, bar=False)
    whole = work_press(instrument, without_openings(body), field, spots, size_mm, bar=False)
    return Leave(field, finished, whole, cut)


def _borne(finished: WorkPress) -> Floats:
    """What the finished top counts as bearing at each spot (s,)."""
    out: Floats = np.maximum(finished.use, _QUIET_SHARE * finished.use.max())
    return out


def _raised(field: LeaveField, spots: tuple[Spot, ...], factors: Floats) -> LeaveField:
    """Both curves raised by the most that a spot of the row needs."""
    share = field.layout.basis(np.array([[s.x_mm, s.y_mm] for s in spots])).weights[:, 3]
    curves = []
    for old, mine in ((field.crown, share <= _RING_FROM), (field.ring, share > _RING_FROM)):
        most = [
            max(
                (f for f, s, m in zip(factors, spots, mine, strict=True) if m and s.x_mm == x),
                default=1.0,
            )
            for x in field.rows_x
        ]
        curves.append(np.clip(_no_narrow_valleys(old * np.array(most)), 1.0, _MOST_FACTOR))
    return replace(field, crown=curves[0], ring=curves[1])


def _no_narrow_valleys(rows: Floats) -> Floats:
    """No row lower than the lower of its neighbours on both sides: a gouge leaves no such dip."""
    padded = np.concatenate([rows[:1], rows, rows[-1:]])
    out: Floats = np.maximum(rows, np.minimum(padded[:-2], padded[2:]))
    return out
