"""One instrument with every value filled in: plain numbers, and beside them how each is known.

Lengths mm, angles degrees, forces N, masses g, frequencies Hz, moduli MPa, density kg/m3.
Body frame: x from the lower edge to the neck, y to the bass side, z to the front.
Each plate has an outward height h >= 0 above its own gluing plane.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

How = Literal["measured", "published", "photo", "given", "assumed", "derived"]
PlateName = Literal["top", "back"]
Side = Literal["bass", "treble"]


@dataclass(frozen=True)
class Provenance:
    """How one number is known. `spread` is one standard deviation in the unit of the number."""

    how: How
    source: str
    spread: float | None = None


@dataclass(frozen=True)
class Body:
    """Main dimensions (mm). Widths edge to edge; `stop_mm` from the upper edge to the bridge."""

    length_mm: float
    upper_width_mm: float
    waist_width_mm: float
    lower_width_mm: float
    upper_at_mm: float  # x of the greatest upper width
    waist_at_mm: float
    lower_at_mm: float
    upper_corner_at_mm: float  # x of the upper corner tips
    lower_corner_at_mm: float
    upper_corner_width_mm: float  # tip to tip
    lower_corner_width_mm: float
    rib_height_upper_mm: float
    rib_height_lower_mm: float
    rib_thickness_mm: float
    overhang_mm: float
    stop_mm: float
    outline_points: tuple[tuple[float, float], ...] = ()  # when given they replace the widths


@dataclass(frozen=True)
class CrossArch:
    """Heights (y, h) in mm across the plate at one x."""

    x_mm: float
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ArchShape:
    """The outside of one plate; heights in mm above the gluing plane, edge included."""

    crown_mm: float
    edge_mm: float  # height (thickness) of the finished edge
    channel_mm: float  # lowest height in the channel
    channel_at_mm: float  # distance of the channel's bottom from the edge
    long_arch: tuple[tuple[float, float], ...] = ()  # (x, h) along the middle
    cross_arches: tuple[CrossArch, ...] = ()
    heights: tuple[tuple[float, float, float], ...] = ()  # scattered (x, y, h)


@dataclass(frozen=True)
class Inside:
    """Flat gluing surface inside the edge, the least thicknesses the maker accepts (mm)."""

    platform_mm: float  # from the edge
    platform_end_mm: float  # from the edge, over the end blocks
    least_mm: float
    least_channel_mm: float


@dataclass(frozen=True)
class BoardMeasure:
    """What the maker measured on the board itself; None where it was not measured."""

    mass_g: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    thickness_mm: float | None = None
    end_tap_hz: float | None = None  # first lengthwise mode along the grain
    along_tap_hz: float | None = None  # first bending mode along the grain
    cross_tap_hz: float | None = None  # first bending mode across the grain
    moisture_percent: float | None = None


@dataclass(frozen=True)
class WoodChoice:
    """Species key of the wood table, with what the maker knows better (None: take the table)."""

    species: str
    density_kg_m3: float | None = None
    e_along_mpa: float | None = None
    e_across_mpa: float | None = None
    moduli_mpa: Mapping[str, float] = field(default_factory=dict)  # any of EL ER ET GLR GLT GRT
    poisson: Mapping[str, float] = field(default_factory=dict)  # any of LR LT RT
    ring_angle_deg: float = 0.0  # positive: R tilts outward toward the bass; mirrored at a joint
    runout_deg: float = 0.0  # grain rising outward toward the neck
    one_piece: bool = False
    board: BoardMeasure = BoardMeasure()


@dataclass(frozen=True)
class String:
    """One string, bass first. Mass per length from material and gauge unless given."""

    note: str
    frequency_hz: float
    material: str
    gauge_mm: float | None
    mass_per_length_g_m: float | None
    tension_n: float | None = None  # the packet's figure at this pitch and length, when given


@dataclass(frozen=True)
class Strings:
    """The set; `strings` run from bass to treble."""

    pitch_a_hz: float
    length_mm: float
    strings: tuple[String, ...]


@dataclass(frozen=True)
class Bridge:
    """Bridge and set-up (mm, degrees). Foot positions are centres, y to the bass."""

    x_mm: float
    height_mm: float  # plate to string bearing, on the middle line
    crown_radius_mm: float  # radius of the string bearings
    string_spread_mm: float  # outer string to outer string at the bridge
    bass_foot_y_mm: float
    treble_foot_y_mm: float
    foot_length_mm: float  # along y
    foot_width_mm: float  # along x
    break_angle_deg: float | None  # when given it replaces the one of the set-up


@dataclass(frozen=True)
class Neck:
    """Neck as a rigid lever (mm). Heights are above the top's gluing plane."""

    overstand_mm: float
    nut_height_mm: float  # string at the nut, above the top's gluing plane
    nut_spread_mm: float
    saddle_height_mm: float  # string at the lower edge, above the top's gluing plane


@dataclass(frozen=True)
class Soundholes:
    """Two holes, mirror images. Eyes are round; positions of the upper and lower eye centres."""

    present: bool
    length_mm: float
    upper_eye_mm: float  # diameter
    lower_eye_mm: float
    upper_eye_gap_mm: float  # between the two upper eyes, edge to edge
    lower_eye_edge_mm: float  # lower eye's outer side to the plate's edge
    width_mm: float  # of the slot
    notch_x_mm: float  # x of the notches (usually the bridge line)
    points: tuple[tuple[tuple[float, float], ...], ...] = ()  # polygons that replace the rule


@dataclass(frozen=True)
class Bar:
    """Bass bar on the inside of the top (mm). y of its middle line at both ends."""

    present: bool
    length_mm: float
    width_mm: float
    height_mm: float  # at the highest place
    end_height_mm: float
    lower_end_x_mm: float
    lower_y_mm: float
    upper_y_mm: float
    species: str


@dataclass(frozen=True)
class Post:
    """Soundpost: one column between the plates (mm)."""

    present: bool
    diameter_mm: float
    x_mm: float
    y_mm: float
    species: str


@dataclass(frozen=True)
class Blocks:
    """End blocks, corner blocks, linings (mm)."""

    end_depth_mm: float
    end_width_mm: float
    corner_depth_mm: (
        float  # reach of a corner block along the outline on both sides of the tip; 0: none
    )
    lining_width_mm: float  # 0: none
    lining_height_mm: float
    block_species: str
    lining_species: str


@dataclass(frozen=True)
class Drill:
    """How guide holes are drilled (mm, degrees)."""

    method: Literal["rest", "collar"]
    hold: Literal["level", "tilted"]
    bit_shape: Literal["point118", "flat", "ball", "brad"]
    bit_mm: float  # diameter
    spur_mm: float  # how far a brad point or spur stands proud of the bit
    rest_radius_mm: float
    step_mm: float  # the setting can be read to this step
    spacing_along_mm: float
    spacing_across_mm: float
    max_level_slope_deg: float
    outside_scrape_mm: float  # still to come off the outside


@dataclass(frozen=True)
class PlateChoice:
    """One plate's outside, inside rules and wood."""

    arch: ArchShape
    inside: Inside
    wood: WoodChoice


@dataclass(frozen=True)
class Workshop:
    """Workshop settings that print-outs and screens obey."""

    paper: Literal["A4", "Letter"]
    units: Literal["mm", "inch"]
    printer_x: float  # printed length / true length of the 100 mm scale, along the page's x
    printer_y: float
    caliper_spread_mm: float


@dataclass(frozen=True)
class Instrument:
    """All that is known or assumed of one instrument; `known` by dotted path, 'body.length'."""

    name: str
    kind: str
    left_handed: bool
    body: Body
    top: PlateChoice
    back: PlateChoice
    rib_wood: WoodChoice
    strings: Strings
    bridge: Bridge
    neck: Neck
    soundholes: Soundholes
    bar: Bar
    post: Post
    blocks: Blocks
    drill: Drill
    workshop: Workshop
    margin: float
    confidence: float = 0.9  # at which a verdict must hold, one-sided
    known: Mapping[str, Provenance] = field(default_factory=dict)

    def plate(self, which: PlateName) -> PlateChoice:
        """The named plate."""
        return self.top if which == "top" else self.back
