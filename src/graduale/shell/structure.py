"""A shell with its beams and springs, driven by thickness at the nodes."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats
from graduale.shell import modes
from graduale.shell.beams import Beams
from graduale.shell.model import Shell

_COLUMNS = 24


@dataclass(frozen=True, eq=False)
class Structure:
    """shell; beams; springs as rows (s, size) with stiffness (s,) N/mm; facets of fixed thickness.

    fixed (m,): thickness of facets that are not carved (ribs), NaN where the nodes decide.
    """

    shell: Shell
    fixed: Floats
    beams: tuple[Beams, ...] = ()
    spring_rows: "sp.csr_matrix | None" = None
    spring_n_mm: Floats | None = None
    glued: "sp.csc_matrix | None" = None  # stiffness that no thickness changes (blocks)

    @cached_property
    def averaging(self) -> "sp.csr_matrix":
        """Facet thickness from nodal thickness, (m, n); fixed facets have empty rows."""
        carved = np.isnan(self.fixed)
        rows = np.repeat(np.flatnonzero(carved), 3)
        cols = self.shell.triangles[carved].ravel()
        shape = (len(self.fixed), len(self.shell.nodes))
        return sp.csr_matrix((np.full(len(rows), 1.0 / 3.0), (rows, cols)), shape=shape)

    def facet_thickness(self, t_nodes: Floats) -> Floats:
        """(m,) from (n,)."""
        out: Floats = self.averaging @ t_nodes + np.nan_to_num(self.fixed)
        return out

    def stiffness(self, t_nodes: Floats) -> "sp.csc_matrix":
        """K (size, size) at nodal thickness (n,)."""
        k = self.shell.stiffness(self.facet_thickness(t_nodes))
        for beam in self.beams:
            k = k + beam.stiffness(_under(beam, t_nodes))
        if self.spring_rows is not None and self.spring_n_mm is not None:
            k = k + self.spring_rows.T @ sp.diags_array(self.spring_n_mm) @ self.spring_rows
        if self.glued is not None:
            k = k + self.glued
        return sp.csc_matrix(k)

    def mass(self, t_nodes: Floats) -> "sp.csc_matrix":
        """M (size, size)."""
        m = self.shell.mass(self.facet_thickness(t_nodes))
        for beam in self.beams:
            m = m + beam.mass(_under(beam, t_nodes))
        return sp.csc_matrix(m)

    def mass_g(self, t_nodes: Floats) -> float:
        """Mass of the carved facets and the beams in g."""
        carved = np.isnan(self.fixed)
        facet = self.shell.density * self.shell.surface * self.facet_thickness(t_nodes)
        return float(facet[carved].sum() * 1e6) + sum(beam.mass_g() for beam in self.beams)

    def mass_slope_g(self) -> Floats:
        """d mass_g / d t_nodes, (n,)."""
        out: Floats = self.averaging.T @ (self.shell.density * self.shell.surface * 1e6)
        return out

    def stiffness_slopes(self, t_nodes: Floats, a: Floats, b: Floats) -> Floats:
        """a^T (dK / d t_node) b for full vectors (size, k) -> (n, k)."""
        shell = self.shell
        t_facet = self.facet_thickness(t_nodes)
        out = np.empty((len(t_nodes), a.shape[1]))
        for start in range(0, a.shape[1], _COLUMNS):  # a few at a time: memory
            some = slice(start, start + _COLUMNS)
            pair = shell.gather(a[:, some]), shell.gather(b[:, some])
            out[:, some] = self.averaging.T @ modes.energy_slope_forms(shell, t_facet, *pair)
        for beam in self.beams:
            _add_beam(out, beam, beam.slope_forms(_under(beam, t_nodes), a, b))
        return out

    def mass_slopes(self, t_nodes: Floats, a: Floats) -> Floats:
        """a^T (dM / d t_node) a, (n, k)."""
        t_facet = self.facet_thickness(t_nodes)
        per_facet = modes.mass_slope_forms(self.shell, t_facet, self.shell.gather(a))
        out: Floats = self.averaging.T @ per_facet
        for beam in self.beams:
            _add_beam(out, beam, beam.slope_forms(_under(beam, t_nodes), a, a, mass=True))
        return out

    def hertz_slopes(self, t_nodes: Floats, found: modes.Modes) -> Floats:
        """d hz / d t_node (n, k); exact for single modes."""
        lam = (2.0 * np.pi * found.hz) ** 2
        stiff = self.stiffness_slopes(t_nodes, found.shapes, found.shapes)
        inertia = self.mass_slopes(t_nodes, found.shapes)
        out: Floats = (stiff - lam * inertia) / (8.0 * np.pi**2 * found.hz)
        return out


def _under(beam: Beams, t_nodes: Floats) -> Floats:
    out: Floats = t_nodes[beam.pairs].mean(axis=1)
    return out


def _add_beam(total: Floats, beam: Beams, per_beam: Floats) -> None:
    for end in range(2):
        np.add.at(total, beam.pairs[:, end], 0.5 * per_beam)
