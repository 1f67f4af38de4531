"""A free plate whose tones follow a changing thickness at once: fixed mesh, pattern and plan.

A new map is one sum on a fixed pattern, one factor, and one or two block steps of inverse iteration
from the last modes, with spare vectors beside them and the rigid motions taken out exactly. One
node's six freedoms are held while the factor is made: loads that balance (mass times a motion free
of rigid parts) put no force there, so nothing is shifted and nothing is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from scipy.linalg import eigh, solve_triangular

from graduale.base.arrays import Floats, Ints
from graduale.shell.assembly import Assembly
from graduale.shell.fronts import FrontFactor, Plan
from graduale.shell.modes import Modes, free_modes
from graduale.shell.structure import Structure

GAP = 2e-6  # relative, of the squared tones: what the last step may still have changed
SPARE = 4
_STRAY = 2  # smooth random vectors, in case a mode comes down from far above
_MOST_STEPS = 20
_DEPENDENT = 1e-14
_SAME = 0.5  # overlap above which a mode continues an older one


@dataclass(frozen=True, eq=False)
class Heard:
    """Tones at one thickness: t_nodes (n,) mm; hz (c,); shapes (size, c) with phi^T M phi = 1;
    mass_g; steps: block steps that were taken.

    follows (c,): which mode of the answer before each one continues (signs kept), -1 for a
    stranger. block (f, b): modes and spare vectors from which the next answer starts.
    """

    t_nodes: Floats
    hz: Floats
    shapes: Floats
    mass_g: float
    follows: Ints
    steps: int
    block: Floats
    factor: FrontFactor

    @property
    def modes(self) -> Modes:
        """Tones and shapes."""
        return Modes(self.hz, self.shapes)


@dataclass(frozen=True, eq=False)
class Slopes:
    """hz (k, n): d tone / d nodal thickness, in Hz/mm; compliance in N mm (None without a load)
    and its slope (n,)."""

    hz: Floats
    compliance: float | None
    compliance_slope: Floats | None


@dataclass(frozen=True, eq=False)
class LiveShell:
    """A structure held nowhere, prepared: `at` answers from what is kept, `start` is the first
    answer."""

    assembly: Assembly
    plan: Plan
    inner: Ints  # entries of the pattern that do not touch the held node
    loose: Ints  # free freedoms that are not held
    first: Floats  # (f, b)
    count: int

    @staticmethod
    def of(structure: Structure, t_nodes: Floats, count: int = 8) -> "LiveShell":
        """Prepares a structure around one thickness (n,); the one cold solution is made here."""
        assembly = Assembly.of(structure)
        node = int(assembly.free[len(assembly.free) // 2]) // 6
        loose = np.flatnonzero(assembly.free // 6 != node)
        place = assembly.matrix(np.arange(1.0, len(assembly.indices) + 1.0))
        inner = sp.csc_matrix(place[loose][:, loose])
        inner.sort_indices()
        entries = (inner.data - 1.0).astype(np.int64)
        k = assembly.matrix(assembly.stiffness(t_nodes))
        cold = free_modes(k, assembly.mass(t_nodes), count + SPARE)
        stray = np.random.default_rng(2).normal(size=(assembly.size, _STRAY))
        bare = LiveShell(assembly, Plan.of(inner), entries, loose, cold.shapes, count)
        return bare._with_stray(t_nodes, stray)

    def _with_stray(self, t_nodes: Floats, stray: Floats) -> "LiveShell":
        mass = self.assembly.mass(t_nodes)
        rigid = _Rigid.of(self.rigid_motions, mass)
        factor = self.plan.factor(self.assembly.stiffness(t_nodes)[self.inner])
        smooth = self._pull(factor, mass @ rigid.out_of(stray))
        block = np.hstack([self.first, rigid.out_of(smooth)])
        return LiveShell(self.assembly, self.plan, self.inner, self.loose, block, self.count)

    @property
    def structure(self) -> Structure:
        """What is driven."""
        return self.assembly.structure

    @cached_property
    def rigid_motions(self) -> Floats:
        """Six rigid motions of the free freedoms, (f, 6)."""
        nodes = self.structure.shell.nodes
        arms = nodes - nodes.mean(axis=0)
        out = np.zeros((len(nodes), 6, 6))
        out[:, :, :] = np.eye(6)
        out[:, :3, 3:] = np.cross(np.eye(3)[None], arms[:, None, :]).transpose(0, 2, 1)
        return out.reshape(-1, 6)[self.assembly.free]

    def at(self, t_nodes: Floats, before: Heard | None = None) -> Heard:
        """First `count` tones at nodal thickness (n,), warm from the answer `before`.

        Within 1e-6 of a cold solution (relative). Errors: RuntimeError if the steps do not settle.
        """
        a = self.assembly
        mass = a.mass(t_nodes)
        factor = self.plan.factor(a.stiffness(t_nodes)[self.inner])
        rigid = _Rigid.of(self.rigid_motions, mass)
        start = rigid.out_of(self.first if before is None else before.block)
        values, block, steps = self._settled(factor, mass, rigid, start)
        follows = self._match(block, mass, before)
        shapes = np.zeros((self.structure.shell.size, self.count))
        shapes[a.free] = block[:, : self.count]
        hz = np.sqrt(values[: self.count]) / (2.0 * np.pi)
        grams = self.structure.mass_g(t_nodes)
        return Heard(t_nodes, hz, shapes, grams, follows, steps, block, factor)

    def gradient(
        self, heard: Heard, modes: Sequence[int] = (0, 1, 2), load: Floats | None = None
    ) -> Slopes:
        """Slopes of some tones and of the compliance load . u under a load (size,) in N.

        The load must balance in force and moment. The compliance's slope is exact; those of tones
        hold for single modes and are as good as the warm shapes (1e-3 relative).
        """
        some = list(modes)
        hz, shapes = heard.hz[some], heard.shapes[:, some]
        u = np.zeros((len(shapes), 0 if load is None else 1))
        if load is not None:
            u[self.assembly.free] = self._pull(heard.factor, load[self.assembly.free][:, None])
        both = np.hstack([shapes, u])
        stiff = self.structure.stiffness_slopes(heard.t_nodes, both, both)
        inertia = self.assembly.mass_slopes(heard.t_nodes, shapes)
        turns = 2.0 * np.pi * hz
        tones = (stiff[:, : len(hz)] - turns**2 * inertia) / (4.0 * np.pi * turns)
        if load is None:
            return Slopes(tones.T, None, None)
        return Slopes(tones.T, float(load @ u[:, 0]), -stiff[:, -1])

    def _pull(self, factor: FrontFactor, right: Floats) -> Floats:
        """Motion (f, k) under balanced loads (f, k), zero at the held node."""
        out = np.zeros_like(right)
        out[self.loose] = factor.solve(right[self.loose])
        return out

    def _settled(
        self, factor: FrontFactor, mass: "sp.csc_matrix", rigid: "_Rigid", start: Floats
    ) -> tuple[Floats, Floats, int]:
        """Values (rad/s)^2, vectors of the whole block, steps.

        After each step there are two sets of Ritz values: from the vectors before it and from
        those after it. Their gap tells what the step was worth.
        """
        width, basis = start.shape[1], _Basis.of(start, mass @ start)
        pulled, pushed = np.empty((len(start), 0)), np.empty((len(start), 0))
        for step in range(1, _MOST_STEPS + 1):
            fresh = rigid.out_of(self._pull(factor, basis.by_mass[:, pulled.shape[1] :]))
            pulled = np.hstack([pulled, fresh])
            pushed = np.hstack([pushed, mass @ fresh])
            shared = _even(basis.by_mass.T @ pulled)
            lower = eigh(shared, eigvals_only=True)[::-1][: self.count]
            values, mix = eigh(_even(pulled.T @ pushed), shared)
            values, mix = values[::-1][:width], mix[:, ::-1][:, :width]
            gap = np.abs(values[: self.count] - lower) / values[: self.count]
            if gap.max() <= GAP:
                vectors = pulled @ mix
                weight = np.einsum("ik,ik->k", vectors, pushed @ mix)
                return 1.0 / values, vectors / np.sqrt(weight), step
            basis = basis.joined(fresh, pushed[:, -fresh.shape[1] :])
        raise RuntimeError("the tones do not settle")

    def _match(self, block: Floats, mass: "sp.csc_matrix", before: Heard | None) -> Ints:
        """By overlap; turns the signs of `block` to those of the older modes."""
        older = self.first if before is None else before.block
        overlap = older.T @ (mass @ block)
        overlap /= np.sqrt(np.einsum("ik,ik->k", older, mass @ older))[:, None]
        best = np.abs(overlap).argmax(axis=0)
        found = overlap[best, np.arange(block.shape[1])]
        block *= np.where(found < 0.0, -1.0, 1.0)
        known = np.abs(found) > _SAME
        return np.where(known, best, -1)[: self.count]


@dataclass(frozen=True, eq=False)
class _Rigid:
    """Rigid motions (f, 6), M-orthonormal, and their products with M."""

    motions: Floats
    by_mass: Floats

    @staticmethod
    def of(motions: Floats, mass: "sp.csc_matrix") -> "_Rigid":
        weighed = mass @ motions
        root = np.linalg.cholesky(_even(motions.T @ weighed))
        turn = solve_triangular(root, np.eye(motions.shape[1]), lower=True).T
        return _Rigid(motions @ turn, weighed @ turn)

    def out_of(self, x: Floats) -> Floats:
        """x (f, k) without its rigid part."""
        out: Floats = x - self.motions @ (self.by_mass.T @ x)
        return out


@dataclass(frozen=True, eq=False)
class _Basis:
    """M-orthonormal vectors and their products with M, (f, b) each."""

    vectors: Floats
    by_mass: Floats

    @staticmethod
    def of(new: Floats, weighed: Floats) -> "_Basis":
        """From vectors and their products with M."""
        none = np.empty((len(new), 0))
        return _Basis(none, none).joined(new, weighed)

    def joined(self, new: Floats, weighed: Floats) -> "_Basis":
        """With what is new in `new`; what depends on the rest falls away."""
        length = np.sqrt(np.einsum("ik,ik->k", new, weighed))
        new, weighed = new / length, weighed / length
        for _ in range(2 if self.vectors.shape[1] else 0):
            share = self.by_mass.T @ new
            new, weighed = new - self.vectors @ share, weighed - self.by_mass @ share
        size, mix = eigh(_even(new.T @ weighed))
        good = size > _DEPENDENT
        turn = mix[:, good] / np.sqrt(size[good])
        both = np.hstack([self.vectors, new @ turn]), np.hstack([self.by_mass, weighed @ turn])
        return _Basis(*both)


def _even(square: Floats) -> Floats:
    out: Floats = 0.5 * (square + square.T)
    return out
