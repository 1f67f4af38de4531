"""The closed box after a scrape: a first-order preview in a frame, exact verdicts at rest.

At rest only what changed is assembled and factored again. Presses are solved only where they are
read: a press is a load on a small disc and a reaction along the rib line, and all reactions are
sums of twelve; so a spot costs the path from its disc to the top of the elimination, no more.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from graduale.base.arrays import Floats, Ints
from graduale.box.cases import press_alone
from graduale.box.readouts import Probe, Reading, plain_values, punch_value, solve
from graduale.records.instrument import PlateName
from graduale.shell.assembly import Assembly
from graduale.shell.buckling import buckling
from graduale.shell.fronts import Plan
from graduale.shell.refactor import Keeping, KeptFactor, Near
from graduale.shell.solver import Held
from graduale.shell.stress import Disc, operator, side_by_side
from graduale.wood.limits import norris

_PLATES: tuple[PlateName, PlateName] = ("top", "back")
_WHOLE = ("strung", "foot press", "bend", "post press")


@dataclass(frozen=True, eq=False)
class Answer:
    """Read-outs of the box at one thickness: t_nodes (n,), values by key, the governing face at
    each stress key; approximate: first order, not solved."""

    t_nodes: Floats
    values: Mapping[str, float]
    faces: Mapping[str, str]
    approximate: bool


@dataclass(frozen=True, eq=False)
class Rest(Answer):
    """An exact answer with what the next one starts from."""

    entries: Floats
    factor: KeptFactor
    strung: Floats  # (size,) displacement under the strings


@dataclass(frozen=True, eq=False)
class Tangent:
    """Exact slopes at one answer: by key, dJ/dt at every node, in rows (keys, n)."""

    at: Answer
    keys: tuple[str, ...]
    rows: Floats

    def preview(self, t_nodes: Floats) -> Answer:
        """First-order values at t_nodes (n,), marked approximate; a demand keeps its sign."""
        change = self.rows @ (t_nodes - self.at.t_nodes)
        values = {
            k: max(0.0, self.at.values[k] + float(d))
            for k, d in zip(self.keys, change, strict=True)
        }
        return Answer(t_nodes, values, self.at.faces, True)


@dataclass(frozen=True, eq=False)
class _Discs:
    """All stress probes one after the other: the facets in and around their discs, which probe each
    belongs to, the column of its case."""

    probes: tuple[Probe, ...]
    disc: Disc
    owner: Ints  # (d,) number of the probe
    column: Ints  # (d,) of the local loads, -1 under the strings
    freedoms: Ints  # (d, 18) among the loose ones, -1 for held

    def uses(self, local: Floats, op: Floats) -> tuple[dict[str, float], dict[str, str]]:
        """Worst sqrt(Norris) by key and its face; local (d, 18), op (d, 6, 18)."""
        mean = np.zeros((len(self.probes), op.shape[1]))
        np.add.at(mean, self.owner, np.einsum("dsj,dj->ds", op, local))
        uses: dict[str, float] = {}
        faces: dict[str, str] = {}
        for plate in _PLATES:
            some = [i for i, p in enumerate(self.probes) if p.plate == plate]
            if not some:
                continue
            index = norris(mean[some], self.probes[some[0]].strength)[0]
            for i, use in zip(some, np.sqrt(index), strict=True):
                probe = self.probes[i]
                if use > uses.get(probe.key, -1.0):
                    uses[probe.key], faces[probe.key] = float(use), probe.face
        return {p.key: uses[p.key] for p in self.probes}, faces


@dataclass(frozen=True, eq=False)
class LiveBox:
    """A box, prepared for one reading. Thickness is given at all nodes of its structure (n,)."""

    reading: Reading
    assembly: Assembly
    keeping: Keeping
    near: Near
    inner: Ints  # entries of the assembly that are not held
    loose: Ints  # full numbers of the freedoms that are not held
    pattern: "sp.csc_matrix"
    whole: Floats  # (l, w + 12): whole cases, then the reactions of both rib lines
    alone: Floats  # (l, p): presses without their reactions
    reaction: Floats  # (12, p): what each press adds of the twelve
    discs: _Discs

    @staticmethod
    def of(reading: Reading) -> "LiveBox":
        """Prepares pattern, order of elimination and loads (a second or two)."""
        box, cases = reading.box, reading.cases
        assembly = Assembly.of(box.structure)
        kept = np.flatnonzero(~np.isin(assembly.free, box.held))
        numbered = assembly.matrix(np.arange(1.0, len(assembly.indices) + 1.0))
        pattern = sp.csc_matrix(numbered[kept][:, kept])
        pattern.sort_indices()
        inner, loose = (pattern.data - 1.0).astype(np.int64), assembly.free[kept]
        plan = Plan.of(pattern)
        rims = np.hstack([box.rim(w).rows.toarray().T for w in _PLATES])
        names, alone, reaction = _presses(reading, rims)
        discs = _discs_of(reading, names, loose)
        whole = [cases.forces[:, cases.column(n)] for n in _whole_names(reading)]
        return LiveBox(
            reading,
            assembly,
            Keeping.of(plan, len(inner)),
            Near.of(plan, _touched(discs, alone[loose])),
            inner,
            loose,
            pattern,
            np.column_stack([*whole, rims])[loose],
            alone[loose],
            reaction,
            discs,
        )

    def at(self, t_nodes: Floats, before: Rest | None = None) -> Rest:
        """Exact values at t_nodes (n,) mm, from the last answer where nothing changed.

        Equal to `readouts.solve` within 1e-6 (relative). Errors: RuntimeError on a thickness that
        leaves no stiffness.
        """
        if before is None:
            entries = self.assembly.stiffness(t_nodes)
        else:
            entries = self.assembly.stiffness_after(before.entries, before.t_nodes, t_nodes)
        older = None if before is None else before.factor
        factor = self.keeping.factor(entries[self.inner], older)
        moved = factor.solve(self.whole)
        u = self._columns(moved)
        values = plain_values(self.reading, u)
        values |= {p.key: punch_value(self.reading, p, t_nodes, u) for p in self.reading.punches}
        uses, faces = self._stresses(factor, moved, t_nodes)
        strung = u[:, self.reading.cases.column("strung")]
        return Rest(t_nodes, values | uses, faces, False, entries, factor, strung)

    def tangent(self, answer: Answer) -> Tangent:
        """Exact slopes of all read-outs (seconds; for behind the scenes)."""
        solved = solve(self.reading, answer.t_nodes, slopes=True)
        assert solved.slopes is not None
        keys = tuple(solved.slopes)
        return Tangent(answer, keys, np.array([solved.slopes[k] for k in keys]))

    def buckling(self, answer: Rest, start: Floats | None = None) -> tuple[float, Floats]:
        """Factor on the strings without creep, and vectors from which the next search starts."""
        box = self.reading.box
        matrix = sp.csc_matrix(
            (answer.factor.entries, self.pattern.indices, self.pattern.indptr), self.pattern.shape
        )
        held = Held(self.loose, matrix, answer.factor)
        t_facet = box.structure.facet_thickness(answer.t_nodes)
        return buckling(box.shell, t_facet, answer.strung, held, start)

    def _columns(self, moved: Floats) -> Floats:
        """Displacements (size, c) of the whole cases; the columns of presses stay empty."""
        cases = self.reading.cases
        u = np.zeros((self.reading.box.shell.size, len(cases.names)))
        for i, name in enumerate(_whole_names(self.reading)):
            u[self.loose, cases.column(name)] = moved[:, i]
        return u

    def _stresses(
        self, factor: KeptFactor, moved: Floats, t_nodes: Floats
    ) -> tuple[dict[str, float], dict[str, str]]:
        d = self.discs
        pressed = self.near.solve(factor.inner, self.alone)
        rims = moved[:, -self.reaction.shape[0] :]
        strung = d.column < 0
        local = np.empty(d.freedoms.shape)
        local[strung] = moved[d.freedoms[strung], 0]
        rows, cols = d.freedoms[~strung], d.column[~strung]
        local[~strung] = pressed[rows, cols[:, None]]
        local[~strung] += np.einsum("djr,rd->dj", rims[rows], self.reaction[:, cols])
        local[d.freedoms < 0] = 0.0
        t_facet = self.reading.box.structure.facet_thickness(t_nodes)
        return d.uses(local, operator(self.reading.box.shell, t_facet, d.disc))


def _whole_names(reading: Reading) -> list[str]:
    return [n for n in _WHOLE if n in reading.cases.names]


def _presses(reading: Reading, rims: Floats) -> tuple[list[str], Floats, Floats]:
    """Names of the press cases, their loads alone (size, p), their reactions (12, p)."""
    box, cases = reading.box, reading.cases
    names, alone = [], []
    for which in _PLATES:
        for spot in cases.spots[which]:
            name = f"{which} {spot.key}"
            if name in cases.names:
                names.append(name)
                alone.append(press_alone(box, which, spot))
    loads = np.column_stack(alone) if alone else np.empty((box.shell.size, 0))
    columns = [cases.column(n) for n in names]
    reaction = np.linalg.lstsq(rims, cases.forces[:, columns] - loads, rcond=None)[0]
    return names, loads, np.asarray(reaction, dtype=np.float64)


def _discs_of(reading: Reading, names: list[str], loose: Ints) -> _Discs:
    joined, facets, owner = side_by_side([p.disc for p in reading.probes])
    shell = reading.box.shell
    place = np.full(shell.size, -1)
    place[loose] = np.arange(len(loose))
    case = np.array([names.index(p.case) if p.case in names else -1 for p in reading.probes])
    return _Discs(reading.probes, joined, owner, case[owner], place[shell.freedoms[facets]])


def _touched(discs: _Discs, alone: Floats) -> "np.typing.NDArray[np.bool_]":
    """Rows (l, p) where each press is loaded or read."""
    out: np.typing.NDArray[np.bool_] = np.abs(alone) > 0.0
    read = (discs.freedoms >= 0) & (discs.column >= 0)[:, None]
    facet, corner = np.nonzero(read)
    out[discs.freedoms[facet, corner], discs.column[facet]] = True
    return out
