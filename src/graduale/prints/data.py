"""What the prints are given: plain records, filled by the job that has decided.

Lengths mm in the body frame (x from the lower edge to the neck, y to the bass side), angles in
degrees; the texts of settings and allowances in the units of the page head.
Polygons are (n, 2) arrays of (x, y), closed, the first point not repeated.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from graduale.base.arrays import Floats, GridMap, freeze
from graduale.records.instrument import PlateName
from graduale.words.numbers import Units

Seen = Literal["inside", "outside"]
Method = Literal["rest", "collar"]
Hold = Literal["level", "tilted"]


@dataclass(frozen=True)
class PageHead:
    """What stands at the head of every page."""

    instrument: str
    plate: PlateName
    seen_from: Seen
    date: str  # YYYY-MM-DD
    digest: str  # short digest of the decision
    left_handed: bool = False
    units: Units = "mm"  # of every figure on the page; drawings stay at true size


@dataclass(frozen=True)
class Station:
    """A named place and the thickness there, square to the surface (mm)."""

    name: str
    x_mm: float
    y_mm: float
    value_mm: float


@dataclass(frozen=True, eq=False)
class Zone:
    """A named area that is not drilled; `rings` are even-odd (a hole in it is a further ring)."""

    name: str
    rings: tuple[Floats, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "rings", tuple(freeze(r, (None, 2)) for r in self.rings))


@dataclass(frozen=True)
class HoleMark:
    """One guide hole as printed. `setting` is the number to set in the head's units, e.g. '4.6'.

    With method 'rest' it is the gap from rest tip to bit end, with 'collar' the depth of the bit
    below the collar: they are never mixed, the method's letter stands beside each.
    """

    id: str
    x_mm: float
    y_mm: float
    setting: str
    group: str
    method: Method
    hold: Hold
    slope_deg: float
    leaves_mm: float
    tilt_deg: float = 0.0  # plate tilted under the bit, 0 when level
    tilt_azimuth_deg: float = 0.0  # which side goes down: 0 the neck, 90 the bass


@dataclass(frozen=True)
class HoleGroup:
    """Holes drilled with one setting, in the order in which the drill is set."""

    key: str
    setting: str
    method: Method
    hold: Hold
    bit: str  # e.g. '4 mm, 118° point'
    depth_to: str  # 'point', 'shoulder', 'flat'
    count: int
    leaves_min_mm: float
    leaves_max_mm: float
    note: str = ""


@dataclass(frozen=True, eq=False)
class Stage:
    """What is to be left after one tool, on the 2 mm grid."""

    tool: str
    leave: GridMap
    over: str  # the allowance over the final thickness in the head's units, e.g. '+0.5'
    scatter_mm: float


@dataclass(frozen=True)
class Post:
    """Soundpost seat: centre and diameter."""

    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True, eq=False)
class PlateDrawing:
    """One plate as drawn on every sheet."""

    plate: PlateName
    outline: Floats
    thickness: GridMap
    openings: tuple[Floats, ...] = ()
    rib_line: Floats | None = None
    platform_line: Floats | None = None
    stations: tuple[Station, ...] = ()
    zones: tuple[Zone, ...] = ()
    holes: tuple[HoleMark, ...] = ()
    groups: tuple[HoleGroup, ...] = ()
    bar: Floats | None = None
    post: Post | None = None
    feet: tuple[Floats, ...] = ()
    stages: tuple[Stage, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "outline", freeze(self.outline, (None, 2)))
        for name in ("rib_line", "platform_line", "bar"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, freeze(value, (None, 2)))
        for name in ("openings", "feet"):
            rings = tuple(freeze(r, (None, 2)) for r in getattr(self, name))
            object.__setattr__(self, name, rings)


@dataclass(frozen=True)
class ScrapCut:
    """One line of the scrap-block card: drill it so, and this should be left."""

    group: str
    method: Method
    hold: Hold
    setting: str
    tilt_deg: float  # of the block under the bit; 0 when the plate is held square to it
    expect_mm: float
    tolerance_mm: float
    block_mm: float = 0.0  # with a collar: height of the wedge at the mark


@dataclass(frozen=True)
class Tool:
    """The drill as drawn on the test card."""

    bit_mm: float
    bit_shape: Literal["point118", "flat", "ball", "brad"]
    rest_radius_mm: float
    step_mm: float
    spur_mm: float = 0.0


@dataclass(frozen=True)
class Words:
    """A heading with its paragraphs; a paragraph that starts with '- ' is set as a list item."""

    heading: str
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class TapTone:
    """One free-plate mode: displacement square to the plate on the grid, any scale."""

    name: str
    hz: float
    shape: GridMap


@dataclass(frozen=True)
class Verdict:
    """One verdict against its reference band; `reference` maps instrument name to ratio."""

    name: str  # 'across', 'local', 'lengthwise', 'guard'
    ratio: float
    limit: float
    reference: Mapping[str, float] = field(default_factory=dict)
    spread: float | None = None
    where: str = ""
