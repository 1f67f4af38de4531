"""The hole plan as plain records."""

from dataclasses import dataclass

from graduale.base.findings import Finding
from graduale.plan.layout import Blank
from graduale.plan.zones import Zone
from graduale.records.instrument import PlateName


@dataclass(frozen=True)
class GuideHole:
    """One guide hole, drilled from the inside. x, y: the mark on the flat inside face (mm).

    slope_deg: outside slope over the mark. depth_to: what the setting is measured to ('point',
    'nose' or 'face', never the shoulder). rest_gap_mm: rest tip to bit end; collar_depth_mm: bit
    end below the inside face; one of them is None. depth_mm: how deep the hole goes along the bit.
    leaves_mm: least shortest distance from the bottom of the hole to the finished outside, at the
    point (thinnest_x, thinnest_y) of the bottom. over_mm: the least over target and allowance over
    the whole bit, never below tolerance_mm. tilt_deg, tilt_toward: how far and which side of the
    plate goes down under the bit; 0 and '' when held level. tilt_azimuth_deg: the same side as an
    angle from the neck (0) toward the bass (90).
    """

    id: str
    plate: PlateName
    x_mm: float
    y_mm: float
    slope_deg: float
    method: str
    hold: str
    bit: str
    depth_to: str
    rest_gap_mm: float | None
    collar_depth_mm: float | None
    depth_mm: float
    leaves_mm: float
    thinnest_x_mm: float
    thinnest_y_mm: float
    over_mm: float
    tolerance_mm: float
    group: str
    tilt_deg: float
    tilt_toward: str
    tilt_azimuth_deg: float

    @property
    def setting_mm(self) -> float:
        """The number to set, of whichever kind."""
        value = self.rest_gap_mm if self.rest_gap_mm is not None else self.collar_depth_mm
        return float(value if value is not None else 0.0)


@dataclass(frozen=True)
class HoleGroup:
    """Holes drilled with one setting, in the order in which the drill is set."""

    key: str
    method: str
    hold: str
    setting_mm: float
    count: int
    leaves_min_mm: float
    leaves_max_mm: float


@dataclass(frozen=True, eq=False)
class HolePlan:
    """All guide holes of one plate; allowance_mm is what the drill leaves over the target."""

    plate: PlateName
    holes: tuple[GuideHole, ...]
    zones: tuple[Zone, ...]
    blank: tuple[Blank, ...]
    groups: tuple[HoleGroup, ...]
    findings: tuple[Finding, ...]
    bit: str
    depth_to: str
    proud_mm: float
    allowance_mm: float
    spare_mm: float


def groups_of(holes: tuple[GuideHole, ...]) -> tuple[HoleGroup, ...]:
    """The groups of a plan, in drilling order (A, B, ... Z, AA)."""
    keys = sorted({h.group for h in holes}, key=lambda k: (len(k), k))
    out = []
    for key in keys:
        mine = [h for h in holes if h.group == key]
        left = [h.leaves_mm for h in mine]
        first = mine[0]
        row = (key, first.method, first.hold, first.setting_mm, len(mine), min(left), max(left))
        out.append(HoleGroup(*row))
    return tuple(out)
