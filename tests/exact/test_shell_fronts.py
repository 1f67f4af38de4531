"""The multifrontal factor and its order of elimination, judged by SciPy's SuperLU and eigsh."""

import numpy as np
import pytest
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from graduale.base.arrays import Floats
from graduale.shell.dissection import Graph, dissect
from graduale.shell.fronts import FrontFactor, Plan
from graduale.shell.modes import SHIFT, free_modes
from graduale.shell.refactor import Keeping, Near
from graduale.shell.solver import SuperLuFactor, factor, factor_lu
from tests.exact.test_shell_slopes import arched

SHELL = arched(40, 12, 210.0, 80.0, 12.0)


def held(t_mm: float | Floats) -> "sp.csc_matrix":
    """Stiffness of the strip at thickness t, its first nodes held."""
    k = SHELL.stiffness(np.full(len(SHELL.triangles), 1.0) * t_mm)
    return sp.csc_matrix(k[78:][:, 78:])


def grid_graph(nx: int, ny: int) -> Graph:
    """A rectangular grid with diagonals."""
    line = [sp.diags_array([1.0, 1.0, 1.0], offsets=[-1, 0, 1], shape=(n, n)) for n in (nx, ny)]
    full = sp.csr_matrix(sp.kron(line[0], line[1]) - sp.eye(nx * ny))
    full.eliminate_zeros()
    return Graph(full.indptr.astype(np.int64), full.indices.astype(np.int64))


def test_pieces_share_all_nodes_and_siblings_do_not_touch() -> None:
    graph = grid_graph(31, 17)
    pieces = dissect(graph, np.full(graph.size, 6), 90)
    assert np.array_equal(np.sort(np.concatenate([p.nodes for p in pieces])), np.arange(31 * 17))
    under: list[set[int]] = []
    for piece in pieces:
        branches = [under[c] for c in piece.children]
        for i, one in enumerate(branches):
            near = set(graph.neighbours(np.array(sorted(one))).tolist())
            assert not any(near & other for other in branches[i + 1 :])
        under.append(set(piece.nodes.tolist()).union(*branches))
    assert len(pieces[-1].nodes) <= 2 * 17  # the last cut goes across, not along


@pytest.mark.parametrize("leaf", [1, 60, 120, 10**6])
def test_solves_like_superlu_whatever_the_size_of_the_pieces(leaf: int) -> None:
    k = held(3.0)
    right = np.random.default_rng(3).normal(size=(k.shape[0], 5))
    mine = Plan.of(k, leaf).factor(k.data).solve(right)
    assert mine == pytest.approx(factor_lu(k).solve(right), rel=1e-6, abs=1e-9)


def test_a_plan_serves_another_thickness_and_one_right_side() -> None:
    plan = Plan.of(held(3.0))
    other = held(np.random.default_rng(2).uniform(2.0, 4.0, len(SHELL.triangles)))
    right = np.random.default_rng(3).normal(size=other.shape[0])
    mine = plan.factor(other.data).solve(right)
    assert mine.shape == right.shape
    assert mine == pytest.approx(factor_lu(other).solve(right), rel=1e-6, abs=1e-9)


def test_the_factor_of_a_square_plate_is_smaller_than_that_along_its_rows() -> None:
    shell = arched(30, 30, 150.0, 150.0, 9.0)
    k = shell.stiffness(np.full(len(shell.triangles), 3.0))[186:][:, 186:].tocsc()
    rows = sla.splu(k, permc_spec="NATURAL", options={"SymmetricMode": True})
    assert Plan.of(k, 30).filled < 0.8 * rows.L.nnz


def test_pieces_that_do_not_hang_together() -> None:
    both = sp.csc_matrix(sp.block_diag([held(3.0), held(2.0)]))
    right = np.random.default_rng(4).normal(size=(both.shape[0], 2))
    mine = Plan.of(both).factor(both.data).solve(right)
    assert mine == pytest.approx(factor_lu(both).solve(right), rel=1e-6, abs=1e-9)


def test_a_factor_that_follows_a_change_is_the_new_one() -> None:
    one = held(3.0)
    thick = np.full(len(SHELL.triangles), 3.0)
    thick[:40] = 2.0
    other = held(thick)
    plan = Plan.of(one, 60)
    keeping = Keeping.of(plan, one.nnz)
    first = keeping.factor(one.data)
    new = keeping.factor(other.data, first)
    same = sum(a is b for a, b in zip(first.inner.blocks, new.inner.blocks, strict=True))
    assert 0 < same < len(plan.fronts)
    right = np.random.default_rng(8).normal(size=(one.shape[0], 2))
    assert np.array_equal(new.solve(right), plan.factor(other.data).solve(right))


def test_a_solution_near_its_load_is_that_of_the_whole() -> None:
    k = held(3.0)
    plan = Plan.of(k, 60)
    factor_ = plan.factor(k.data)
    touched = np.zeros((k.shape[0], 4), dtype=bool)
    right = np.zeros(touched.shape)
    for column, at in enumerate((300, 320, 1500, 3000)):
        touched[at - 60 : at + 60, column] = True
        right[at : at + 12, column] = 1.0
    near = Near.of(plan, touched).solve(factor_, right)
    assert near[touched] == pytest.approx(factor_.solve(right)[touched], rel=1e-9, abs=1e-12)


def test_the_door_takes_matrices_that_are_not_positive_definite() -> None:
    k = held(3.0)
    assert isinstance(factor(k), FrontFactor)
    shifted = sp.csc_matrix(k - 5.0 * sp.eye(k.shape[0]))
    door = factor(shifted)
    assert isinstance(door, SuperLuFactor)
    right = np.ones(k.shape[0])
    assert shifted @ door.solve(right) == pytest.approx(right, abs=1e-6)


def test_free_modes_are_those_of_eigsh() -> None:
    t = np.random.default_rng(6).uniform(2.0, 4.0, len(SHELL.triangles))
    k, m = SHELL.stiffness(t), SHELL.mass(t)
    inverse = factor_lu(sp.csc_matrix(k + SHIFT * m))
    op = sla.LinearOperator(k.shape, matvec=inverse.solve, dtype=np.float64)
    values, vectors = sla.eigsh(k, k=20, M=m, sigma=-SHIFT, OPinv=op)
    theirs = np.argsort(values)[6:16]
    mine = free_modes(k, m, 10)
    assert mine.hz == pytest.approx(np.sqrt(values[theirs]) / (2.0 * np.pi), rel=1e-9)
    alike = np.abs(np.einsum("ik,ik->k", mine.shapes, m @ vectors[:, theirs]))
    assert alike == pytest.approx(1.0, abs=1e-7)
