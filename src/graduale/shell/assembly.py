"""A structure's matrices on one fixed pattern: a new thickness only changes the numbers.

Freedoms with empty rows (hanging nodes) are left out; what is left are the *free* freedoms.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats, Ints
from graduale.shell import bending
from graduale.shell.model import Shell
from graduale.shell.structure import Structure


@dataclass(frozen=True, eq=False)
class Assembly:
    """structure; free (f,) numbers of the free freedoms; indptr, indices of an (f, f) matrix;
    facets (m * 324,), beams (b * 144,): where their entries go; springs: fixed entries (z,), of
    springs and glued blocks."""

    structure: Structure
    free: Ints
    indptr: Ints
    indices: Ints
    facets: Ints
    beams: tuple[Ints, ...]
    springs: Floats

    @staticmethod
    def of(structure: Structure) -> "Assembly":
        """The pattern of facets, beams and springs together."""
        shell = structure.shell
        patterns = [shell.pattern, *(b.pattern for b in structure.beams)]
        shape = (shell.size, shell.size)
        parts = [
            sp.csc_matrix((np.ones(len(p.indices)), p.indices, p.indptr), shape=shape)
            for p in patterns
        ]
        spring = _spring_matrix(structure)
        total = sum([abs(spring), *parts[1:]], parts[0])
        free = np.flatnonzero(total.diagonal() != 0.0)
        kept = sp.csc_matrix(total[free][:, free])
        kept.sort_indices()
        keys = _keys(kept, free, shell.size)
        places = [np.searchsorted(keys, _keys(p, None, shell.size)) for p in parts]
        fixed = np.zeros(len(keys))
        fixed[np.searchsorted(keys, _keys(spring, None, shell.size))] = spring.data
        facets, *beams = (at[p.place] for at, p in zip(places, patterns, strict=True))
        pattern = kept.indptr.astype(np.int64), kept.indices.astype(np.int64)
        return Assembly(structure, free, *pattern, facets, tuple(beams), fixed)

    @property
    def size(self) -> int:
        """Number of free freedoms."""
        return len(self.free)

    def matrix(self, entries: Floats) -> "sp.csc_matrix":
        """(f, f) from entries (z,)."""
        return sp.csc_matrix((entries, self.indices, self.indptr), shape=(self.size, self.size))

    def stiffness(self, t_nodes: Floats) -> Floats:
        """Entries (z,) of K at nodal thickness (n,)."""
        blocks = self.structure.shell.facet_stiffness(self.structure.facet_thickness(t_nodes))
        out = self.springs + self._gather(self.facets, blocks)
        for beam, place in zip(self.structure.beams, self.beams, strict=True):
            out += self._gather(place, beam.blocks(t_nodes[beam.pairs].mean(axis=1)))
        return out

    def stiffness_after(self, entries: Floats, before: Floats, t_nodes: Floats) -> Floats:
        """Entries (z,) of K at t_nodes (n,) from those at `before` (n,): only what was scraped."""
        old, new = (self.structure.facet_thickness(t) for t in (before, t_nodes))
        some = np.flatnonzero(old != new)
        shell = self.structure.shell
        change = facet_stiffness_of(shell, some, new[some])
        change -= facet_stiffness_of(shell, some, old[some])
        place = self.facets.reshape(len(old), -1)[some].ravel()
        out = entries + self._gather(place, change)
        for beam, at in zip(self.structure.beams, self.beams, strict=True):
            under = [t[beam.pairs].mean(axis=1) for t in (before, t_nodes)]
            out += self._gather(at, beam.blocks(under[1]) - beam.blocks(under[0]))
        return out

    def mass(self, t_nodes: Floats) -> "sp.csc_matrix":
        """M (f, f) at nodal thickness (n,), on the smaller pattern of its own."""
        w = self._weights
        t = self.structure.facet_thickness(t_nodes)[w.facet]
        out = _summed(w.place, t * w.push + t**3 * w.turn, len(w.indices))
        for beam, place in zip(self.structure.beams, w.beams, strict=True):
            blocks = beam.blocks(t_nodes[beam.pairs].mean(axis=1), mass=True)
            out += _summed(place, blocks, len(w.indices))
        return sp.csc_matrix((out, w.indices, w.indptr), shape=(self.size, self.size))

    def mass_slopes(self, t_nodes: Floats, a: Floats) -> Floats:
        """a^T (dM / d t_node) a for full vectors (size, k), (n, k)."""
        push, turn = self._mass_units
        t = self.structure.facet_thickness(t_nodes)[:, None, None]
        local = self.structure.shell.gather(a)
        per_facet = np.einsum("mik,mik->mk", local, (push + 3.0 * t**2 * turn) @ local)
        out: Floats = self.structure.averaging.T @ per_facet
        for beam in self.structure.beams:
            half = 0.5 * beam.slope_forms(t_nodes[beam.pairs].mean(axis=1), a, a, mass=True)
            for end in range(2):
                np.add.at(out, beam.pairs[:, end], half)
        return out

    @cached_property
    def _mass_units(self) -> tuple[Floats, Floats]:
        """Facet mass is t times the first and t cubed times the second, (m, 18, 18) each."""
        one = np.ones(len(self.structure.fixed))
        both, twice = (self.structure.shell.facet_mass(t * one) for t in (1.0, 2.0))
        turn = (twice - 2.0 * both) / 6.0
        return both - turn, turn

    @cached_property
    def _weights(self) -> "_Weights":
        push, turn = (unit.ravel() for unit in self._mass_units)
        some = np.flatnonzero((np.abs(push) > 0.0) | (np.abs(turn) > 0.0))
        used = np.unique(np.concatenate([self.facets[some], *self.beams]))
        cols = np.repeat(np.arange(self.size), np.diff(self.indptr))[used]
        return _Weights(
            push[some],
            turn[some],
            some // 324,
            np.searchsorted(used, self.facets[some]),
            tuple(np.searchsorted(used, b) for b in self.beams),
            np.searchsorted(cols, np.arange(self.size + 1)),
            self.indices[used],
        )

    def _gather(self, place: Ints, blocks: Floats) -> Floats:
        return _summed(place, blocks, len(self.indices))


@dataclass(frozen=True, eq=False)
class _Weights:
    """The entries of the mass that are not zero: factors of t and t cubed, facet, place; where the
    beams' entries go; the pattern."""

    push: Floats
    turn: Floats
    facet: Ints
    place: Ints
    beams: tuple[Ints, ...]
    indptr: Ints
    indices: Ints


def facet_stiffness_of(shell: Shell, some: Ints, t_mm: Floats) -> Floats:
    """(k, 18, 18) of the facets `some` (k,) at thickness t (k,)."""
    z, plane, offset = (part[some] for part in shell.to_local)
    flex = np.swapaxes(z, 1, 2) @ bending.energies(shell.parts.only(some), t_mm) @ z
    shift = -0.5 * shell.outward[some] * (t_mm - shell.t_ref[some])
    middle = plane + shift[:, None, None] * offset
    stretch = np.swapaxes(middle, 1, 2) @ shell.membrane_unit[some] @ middle
    out: Floats = flex + t_mm[:, None, None] * stretch
    return out


def _summed(place: Ints, values: Floats, count: int) -> Floats:
    """Sums (count,) of values by place."""
    return np.asarray(np.bincount(place, weights=values.ravel(), minlength=count), dtype=float)


def _spring_matrix(structure: Structure) -> "sp.csc_matrix":
    """What no thickness changes: springs and glued blocks."""
    size = structure.shell.size
    total = sp.csc_matrix((size, size))
    if structure.spring_rows is not None and structure.spring_n_mm is not None:
        rows = structure.spring_rows
        total = total + rows.T @ sp.diags_array(structure.spring_n_mm) @ rows
    if structure.glued is not None:
        total = total + structure.glued
    out = sp.csc_matrix(total)
    out.sort_indices()
    return out


def _keys(matrix: "sp.csc_matrix", names: Ints | None, size: int) -> Ints:
    """One number for each entry, rising with column and row; names: old numbers of the rows."""
    cols = np.repeat(np.arange(matrix.shape[1]), np.diff(matrix.indptr))
    rows = matrix.indices.astype(np.int64)
    if names is not None:
        cols, rows = names[cols], names[rows]
    out: Ints = cols * size + rows
    return out
