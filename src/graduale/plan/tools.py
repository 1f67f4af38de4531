"""The tools of the job: what each leaves above the map, how far it scatters; doubts of a hole."""

from dataclasses import dataclass
from typing import Literal

from graduale.base.tables import Table, table

WoodKind = Literal["maple", "spruce"]


@dataclass(frozen=True)
class Tool:
    """One tool in the order of the work; `scatter_mm` is the trade's '+-', sd = scatter / sqrt
    3."""

    key: str
    allowance_mm: float
    least_mm: float
    most_mm: float
    scatter_mm: float
    before_soundholes: bool
    source: str


@dataclass(frozen=True)
class Doubt:
    """How far one drilled hole may be off: each is a '+-' that is added by root sum of squares."""

    setting_mm: float
    hold_deg: float
    height_mm: float
    position_mm: float


@dataclass(frozen=True)
class LayoutRule:
    """How holes are laid out and grouped; `least_pitch_bits` is in bit diameters."""

    least_across_each_half: int
    least_pitch_bits: float
    group_spare_mm: float
    channel_half_mm: float
    joint_half_mm: float


def _table() -> Table:
    return table("graduale.plan", "tools")


def tools(wood_kind: WoodKind) -> tuple[Tool, ...]:
    """The tools in the order of the work, for a wood that drills like maple or like spruce."""
    return tuple(_tool(row, wood_kind) for row in _table()["tool"])


def _tool(row: Table, wood_kind: WoodKind) -> Tool:
    least, most = row["range_mm"][wood_kind]
    return Tool(
        key=row["key"],
        allowance_mm=float(row["allowance_mm"][wood_kind]),
        least_mm=float(least),
        most_mm=float(most),
        scatter_mm=float(row["scatter_mm"]),
        before_soundholes=bool(row["before_soundholes"]),
        source=row["source"],
    )


def tool(key: str, wood_kind: WoodKind) -> Tool:
    """One tool by key. Errors: KeyError for an unknown key."""
    found = {t.key: t for t in tools(wood_kind)}
    return found[key]


def hole_doubt() -> Doubt:
    """The doubts of one drilled hole."""
    row = _table()["doubt"]
    return Doubt(row["setting_mm"], row["hold_deg"], row["height_mm"], row["position_mm"])


def layout_rule() -> LayoutRule:
    """How holes are laid out and grouped."""
    row = {k: v for k, v in _table()["layout"].items() if k != "source"}
    return LayoutRule(**row)
