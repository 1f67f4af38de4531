"""A factor that follows small changes: only the fronts that are touched, and those above them, are
done again; and solutions that are asked for near their loads only."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.shell.fronts import FrontFactor, Plan, eliminated, lower_solve


@dataclass(frozen=True, eq=False)
class KeptFactor:
    """A factor with what it was made of: the matrix's entries and the rests of all fronts."""

    inner: FrontFactor
    entries: Floats
    rests: dict[int, Floats]

    def solve(self, right: Floats) -> Floats:
        """x with A x = right, (n,) or (n, k)."""
        return self.inner.solve(right)


@dataclass(frozen=True, eq=False)
class Keeping:
    """plan; owner (z,): the front to which each entry of the matrix belongs, -1 for upper ones."""

    plan: Plan
    owner: Ints

    @staticmethod
    def of(plan: Plan, entries: int) -> "Keeping":
        """For a matrix of so many entries."""
        owner = np.full(entries, -1)
        for number, front in enumerate(plan.fronts):
            owner[front.in_pivots[0]] = owner[front.in_boundary[0]] = number
        return Keeping(plan, owner)

    def factor(self, entries: Floats, before: KeptFactor | None = None) -> KeptFactor:
        """Factor of a matrix's entries (z,), from an older one where nothing changed below.

        Errors: RuntimeError unless positive definite.
        """
        touched = self._touched(entries, before)
        rests = {} if before is None else dict(before.rests)
        blocks = [] if before is None else list(before.inner.blocks)
        for number, front in enumerate(self.plan.fronts):
            if before is None:
                block, rests[number] = eliminated(front, entries, rests)
                blocks.append(block)
            elif touched[number]:
                blocks[number], rests[number] = eliminated(front, entries, rests)
        return KeptFactor(FrontFactor(self.plan, tuple(blocks)), entries, rests)

    def _touched(self, entries: Floats, before: KeptFactor | None) -> "np.typing.NDArray[np.bool_]":
        out = np.zeros(len(self.plan.fronts), dtype=bool)
        if before is None:
            return out
        owners = self.owner[entries != before.entries]
        out[owners[owners >= 0]] = True
        return climbed(self.plan, out[:, None])[:, 0]


def climbed(plan: Plan, marks: "np.typing.NDArray[np.bool_]") -> "np.typing.NDArray[np.bool_]":
    """Marks (fronts, k) carried up to all fronts above."""
    out = marks.copy()
    for number, front in enumerate(plan.fronts):
        for child in front.children:
            out[number] |= out[child.number]
    return out


@dataclass(frozen=True, eq=False)
class Near:
    """Columns that are loaded and read at few rows; columns (fronts,): those that pass through
    each front."""

    plan: Plan
    columns: tuple[Ints, ...]

    @staticmethod
    def of(plan: Plan, touched: "np.typing.NDArray[np.bool_]") -> "Near":
        """touched (n, k): rows where column k is loaded or will be read."""
        ends = np.array([f.last for f in plan.fronts])
        new = np.empty(len(plan.order), dtype=np.int64)
        new[plan.order] = np.arange(len(new))
        rows, cols = np.nonzero(touched)
        marks = np.zeros((len(ends), touched.shape[1]), dtype=bool)
        marks[np.searchsorted(ends, new[rows], side="right"), cols] = True
        return Near(plan, tuple(np.flatnonzero(m) for m in climbed(plan, marks)))

    def solve(self, factor: FrontFactor, right: Floats) -> Floats:
        """x (n, k) with A x = right (n, k), true in the touched rows only."""
        x = right[self.plan.order]
        work = [
            (front, block, cols)
            for front, block, cols in zip(
                self.plan.fronts, factor.blocks, self.columns, strict=True
            )
            if len(cols)
        ]
        for front, (corner, below), cols in work:
            rows = np.arange(front.first, front.last)[:, None]
            own = lower_solve(corner, x[rows, cols], turned=False)
            x[rows, cols] = own
            if len(below):
                x[front.boundary[:, None], cols] -= below @ own
        for front, (corner, below), cols in reversed(work):
            rows = np.arange(front.first, front.last)[:, None]
            own = x[rows, cols]
            if len(below):
                own = own - below.T @ x[front.boundary[:, None], cols]
            x[rows, cols] = lower_solve(corner, own, turned=True)
        out = np.empty_like(x)
        out[self.plan.order] = x
        return out
