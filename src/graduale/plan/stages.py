"""What each tool leaves: the target and its allowance, never past the gluing plane."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from graduale.base.arrays import Floats, GridMap
from graduale.plan.nearest import Outside, feet, heights, seeds
from graduale.plan.tools import Tool, WoodKind, tools

SEED_MM = 3.0  # spacing of the points from which the shortest way out is searched


@dataclass(frozen=True, eq=False)
class Stage:
    """The map that one tool works to; `leave` is the shortest distance to the outside, mm."""

    tool: str
    allowance_mm: float
    scatter_mm: float
    before_soundholes: bool
    leave: GridMap


def stage_maps(
    target: GridMap,
    outside: Outside,
    wood_kind: WoodKind,
    *,
    platform: NDArray[np.bool_] | None = None,
    before_holes: GridMap | None = None,
) -> tuple[Stage, ...]:
    """Stage maps in the order of the work, on the grid of `target` (the finished map).

    platform (nx, ny): where the inside is the finished gluing plane; there t = outside height.
    before_holes: the top's map when its soundholes are cut. The last tool before the cutting stops
    on it, the tools before that one stay as far above it as their allowances differ; none goes
    below target + its own allowance. Errors: ValueError when the grids differ.
    """
    _same_grid(target, before_holes)
    most = _most(target, outside, platform)
    last = [t for t in tools(wood_kind) if t.before_soundholes][-1]
    out = []
    for tool in tools(wood_kind):
        leave = target.values + tool.allowance_mm
        if before_holes is not None and tool.before_soundholes:
            above = before_holes.values + tool.allowance_mm - last.allowance_mm
            leave = np.fmax(leave, above)
        out.append(_stage(tool, target, _capped(leave, most, platform)))
    return tuple(out)


def _stage(tool: Tool, grid: GridMap, leave: Floats) -> Stage:
    kept = GridMap(grid.x_mm, grid.y_mm, leave)
    return Stage(tool.key, tool.allowance_mm, tool.scatter_mm, tool.before_soundholes, kept)


def _capped(leave: Floats, most: Floats, platform: NDArray[np.bool_] | None) -> Floats:
    out = np.where(np.isfinite(leave), np.minimum(leave, most), np.nan)
    if platform is not None:
        out = np.where(platform & np.isfinite(leave), most, out)
    return out


def _most(target: GridMap, outside: Outside, platform: NDArray[np.bool_] | None) -> Floats:
    """The thickness (nx, ny) with the inside still on the gluing plane; NaN off the plate."""
    gx, gy = np.meshgrid(target.x_mm, target.y_mm, indexing="ij")
    on = np.isfinite(target.values)
    xy = np.column_stack([gx[on], gy[on]])
    out = np.full(on.shape, np.nan)
    if len(xy) == 0:
        return out
    out[on] = most_thickness(outside, xy)
    if platform is not None:
        flat = platform & on
        out[flat] = heights(outside, np.column_stack([gx[flat], gy[flat]]))
    return out


def most_thickness(outside: Outside, xy: Floats) -> Floats:
    """Shortest distance (m,) from the gluing plane at xy (m, 2) to the outside, mm."""
    points = np.column_stack([xy, np.zeros(len(xy))])
    reach = 0.7 * float(np.max(np.abs(heights(outside, xy)), initial=1.0)) + 1.0
    start = seeds(outside, points[:, None, :], xy, reach, SEED_MM)[:, 0]
    return feet(outside, points, start, 6)[0]


def _same_grid(a: GridMap, b: GridMap | None) -> None:
    if b is None:
        return
    same = a.values.shape == b.values.shape and np.allclose(a.x_mm, b.x_mm)
    if not (same and np.allclose(a.y_mm, b.y_mm)):
        raise ValueError("the map before the soundholes must be on the grid of the target")
