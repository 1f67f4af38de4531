"""A flat periodic cell as our shell, under the same load as the exact solution."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.build import rect_points
from graduale.shell.model import Links, Shell
from graduale.shell.patch import Patch, locate, patch_of
from graduale.shell.solver import factor_held
from graduale.shell.stress import Disc, disc_of, stress
from graduale.wood.material import Wood, facet_coupling, facet_stiffness

_HOLD = (0, 1, 2, 5)  # of one node: no rigid turn about x or y is left in a periodic cell


@dataclass(frozen=True, eq=False)
class PeriodicShell:
    """A cell of size (2,) mm, thickness t_mm, edges size_mm long; axes (3, 3): rows L, R, T."""

    wood: Wood
    axes: Floats
    size: tuple[float, float]
    t_mm: float
    size_mm: float

    @cached_property
    def _grid(self) -> tuple[Floats, Ints, Ints]:
        """xy (n, 2), triangles (m, 3), master (n,): opposite edges are one."""
        nx, ny = (round(s / self.size_mm) for s in self.size)
        i, j = (g.ravel() for g in np.meshgrid(np.arange(nx + 1), np.arange(ny + 1), indexing="ij"))
        xy = np.stack([i * self.size[0] / nx, j * self.size[1] / ny], axis=1)
        xy -= 0.5 * np.array(self.size)
        number = np.arange(len(i)).reshape(nx + 1, ny + 1)
        a, b = number[:-1, :-1].ravel(), number[1:, :-1].ravel()
        c, d = number[1:, 1:].ravel(), number[:-1, 1:].ravel()
        even = ((i + j) % 2 == 0)[a]
        one = np.where(even[:, None], np.stack([a, b, c], 1), np.stack([a, b, d], 1))
        two = np.where(even[:, None], np.stack([a, c, d], 1), np.stack([b, c, d], 1))
        return xy, np.concatenate([one, two]), number[i % nx, j % ny]

    @cached_property
    def shell(self) -> Shell:
        """The cell."""
        xy, triangles, master = self._grid
        triads = np.repeat(np.eye(3)[None], len(triangles), axis=0)
        q_mpa, h_mpa = facet_stiffness(self.wood, self.axes, triads)
        return Shell(
            np.column_stack([xy, np.zeros(len(xy))]),
            triangles,
            triads,
            q_mpa,
            h_mpa,
            np.ones(len(triangles)),
            self.t,
            np.zeros(len(triangles)),
            Links(master, np.zeros((len(xy), 3))),
            facet_coupling(self.wood, self.axes, triads),
        )

    @cached_property
    def t(self) -> Floats:
        """(m,)."""
        return np.full(len(self._grid[1]), self.t_mm)

    def patch(self, sides: tuple[float, float]) -> Patch:
        """A rectangle about the middle."""
        xy, triangles, _ = self._grid
        facet, shares = locate(xy, triangles, rect_points(0.0, 0.0, *sides, 24))
        return patch_of(self.shell, triangles[facet], shares, np.ones(len(facet)))

    def press(self, sides: tuple[float, float], n: float) -> tuple[Floats, Patch]:
        """Displacement (size,) under n newtons down, held up by an even pressure."""
        xy, triangles, master = self._grid
        patch = self.patch(sides)
        load = patch.load(np.array([0.0, 0.0, -n]))
        third = np.repeat(self.shell.surface / 3.0, 3)
        area = np.bincount(master[triangles].ravel(), third, len(xy))
        load[2::6] += n * area / area.sum()
        held = 6 * int(master[0]) + np.array(_HOLD)
        return factor_held(self.shell.stiffness(self.t), held).solve(load), patch

    def disc(self, at: tuple[float, float], radius_mm: float) -> Disc:
        """On the lower face."""
        xy, triangles, _ = self._grid
        rings = radius_mm * np.sqrt((np.arange(12) + 0.5) / 12)
        angle = 2.0 * np.pi * np.arange(48) / 48
        points = np.stack([np.outer(rings, f(angle)).ravel() for f in (np.cos, np.sin)], axis=1)
        found = locate(xy, triangles, points + np.array(at))
        turn = np.repeat(np.eye(3)[None], len(np.unique(found[0])), axis=0)
        return disc_of(self.shell, found, 0, -1.0, turn)

    def stress(self, u: Floats, disc: Disc) -> Floats:
        """[xx, yy, xy] of a disc."""
        return stress(self.shell, self.t, disc, u[:, None])[:, 0]
