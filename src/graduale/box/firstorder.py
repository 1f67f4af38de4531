"""What every read-out of a box does, to first order, when the box is nudged: no new factor.

J(K + dK, F + dF) - J = [J of the nudged box at the old displacements - J] + a^T (dF - dK u), a
the adjoint of J. Exact in first order for wood, shape, parts and loads alike; a numerical step
judges it.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from graduale.base.arrays import Floats, Ints
from graduale.box.build import Box
from graduale.box.cases import Cases
from graduale.box.nudge import PLATES, stiffness_change
from graduale.box.readouts import Reading, Solved, post_force, sag_row, solve_with_adjoints
from graduale.records.instrument import PlateName
from graduale.shell.model import Shell
from graduale.shell.stress import Disc, operators, refined
from graduale.wood.limits import norris
from graduale.wood.species import STRENGTHS


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """A solved box with the adjoint of each of its read-outs.

    names (k,); values (k,); adjoint (size, k); used (k,): the case that each is read from.
    """

    reading: Reading
    solved: Solved
    names: tuple[str, ...]
    values: Floats
    adjoint: Floats
    used: Ints

    @cached_property
    def facet_stiffness(self) -> Floats:
        """(m, 18, 18)."""
        structure = self.reading.box.structure
        return structure.shell.facet_stiffness(structure.facet_thickness(self.solved.t_nodes))

    @cached_property
    def discs(self) -> "Discs":
        """The governing disc of every stress read-out."""
        return Discs.of(self)

    def change(
        self,
        box: Box | None = None,
        *,
        cases: Cases | None = None,
        facets: "slice | None" = None,
    ) -> Floats:
        """d ln J (k,) of the nudged box and loads; facets: the only ones that differ."""
        own = self.reading.box
        other = own if box is None else box
        u, t_nodes = self.solved.u, self.solved.t_nodes
        out = self._direct(other, cases)
        if box is not None:
            right = stiffness_change(own, other, t_nodes, self.facet_stiffness, facets) @ u
            out -= self._through(right)
        if cases is not None:
            out += self._through(cases.forces - self.reading.cases.forces)
        step: Floats = out / self.values
        return step

    def _through(self, right: Floats) -> Floats:
        """a^T right (k,), case by case."""
        out = np.empty(len(self.names))
        for case in np.unique(self.used):
            some = self.used == case
            out[some] = right[:, case] @ self.adjoint[:, some]
        return out

    def _direct(self, other: Box, cases: Cases | None) -> Floats:
        """Change of each read-out at the old displacements (k,)."""
        reading, u = self.reading, self.solved.u
        at = {name: i for i, name in enumerate(self.names)}
        out = np.zeros(len(self.names))
        if cases is not None:
            for key, case in (("across top", "foot press"), ("across back", "post press")):
                if key in at:
                    column = reading.cases.column(case)
                    new, old = cases.forces[:, column], reading.cases.forces[:, column]
                    out[at[key]] = (new - old) @ u[:, column]
            out[at["sag share"]] = self._sag(other, cases)
        strung = u[:, reading.cases.column("strung")]
        for punch in reading.punches:
            out[at[punch.key]] = self._punch(punch.key, other, cases, strung)
        if other is not reading.box:
            names, moved = self.discs.uses(other)
            base = self.discs.base
            for i, name in enumerate(names):
                out[at[name]] = (moved[i] / base[i] - 1.0) * self.values[at[name]]
        return out

    def _punch(self, key: str, other: Box, cases: Cases | None, strung: Floats) -> float:
        """Shear round a patch: by the force of its foot, or of the post."""
        punch = next(p for p in self.reading.punches if p.key == key)
        value = float(self.values[self.names.index(key)])
        if punch.force_n is None:
            old = post_force(self.reading, strung)
            spring, rows = other.structure.spring_n_mm, other.post_rows
            if old == 0.0 or spring is None or rows is None:
                return 0.0
            return value * (-float(spring[0] * (rows @ strung)[0]) / old - 1.0)
        if cases is None:
            return 0.0
        side = "bass" if "bass" in punch.spot.key else "treble"
        return value * (abs(float(cases.strings.feet[side].force[2])) / punch.force_n - 1.0)

    def _sag(self, other: Box, cases: Cases) -> float:
        reading = self.reading
        strung = self.solved.u[:, reading.cases.column("strung")]
        sign = float(np.sign(reading.sag_row @ strung))
        new = sag_row(other, cases) - reading.sag_row
        return sign * float(new @ strung) / reading.arch_mm

    def strengths(self) -> dict[str, Floats]:
        """d ln J / d ln(strength) by 'top mor', ... (k,), the stresses held."""
        at = {name: i for i, name in enumerate(self.names)}
        out: dict[str, Floats] = {}
        names, _ = self.discs.uses(self.reading.box)
        for which in ("top", "back"):
            for strength in STRENGTHS:
                row = np.zeros(len(self.names))
                moved = self.discs.uses(self.reading.box, (which, strength, 1.001))[1]
                for i, name in enumerate(names):
                    row[at[name]] = np.log(moved[i] / self.discs.base[i]) / np.log(1.001)
                if strength == "rolling_shear":
                    for punch in self.reading.punches:
                        row[at[punch.key]] = -1.0 if punch.plate == which else 0.0
                out[f"{which} {strength}"] = row
        return out


def first_order(reading: Reading, t_nodes: Floats) -> FirstOrder:
    """Solves the box at nodal thickness, slopes included, and keeps every adjoint."""
    solved, names, used, adjoint = solve_with_adjoints(reading, t_nodes)
    values = np.array([max(solved.values[n], 1e-300) for n in names])
    return FirstOrder(reading, solved, names, values, adjoint, used)


@dataclass(frozen=True, eq=False)
class Discs:
    """All governing discs side by side; owner (d,): which read-out a facet belongs to; facets (w,):
    those in and around the discs, sorted; columns (k,): the load case of each read-out."""

    order: FirstOrder
    names: tuple[str, ...]
    which: tuple[str, ...]
    disc: Disc
    owner: Ints
    facets: Ints
    columns: Ints

    @staticmethod
    def of(order: FirstOrder) -> "Discs":
        """Of a solved box."""
        reading, solved = order.reading, order.solved
        chosen = [p for p in reading.probes if solved.faces.get(p.key) == p.face]
        names = tuple(p.key for p in chosen)
        sizes = [len(p.disc.facets) for p in chosen]
        disc = Disc(
            np.concatenate([p.disc.facets for p in chosen]),
            np.concatenate([p.disc.weights for p in chosen]),
            np.concatenate([p.disc.face for p in chosen]),
            np.concatenate([p.disc.turn for p in chosen]),
            np.concatenate([_middle(p.disc) for p in chosen]),
        )
        owner = np.repeat(np.arange(len(sizes)), sizes)
        around = [p.disc.warped.facets for p in chosen if p.disc.warped is not None]
        facets = np.unique(np.concatenate([disc.facets, *around]))
        columns = np.array([reading.cases.column(p.case) for p in chosen])
        plates = tuple(p.plate for p in chosen)
        return Discs(order, names, plates, disc, owner, facets, columns)

    @cached_property
    def base(self) -> Floats:
        """Share of the strength used, by the box itself."""
        return self.uses(self.order.reading.box)[1]

    def uses(
        self, box: Box, strength: tuple[str, str, float] | None = None
    ) -> tuple[tuple[str, ...], Floats]:
        """sqrt(Norris) of every disc at the old displacements; strength: (plate, name, factor)."""
        shell = box.shell.only(self.facets)
        t = box.structure.facet_thickness(self.order.solved.t_nodes)[self.facets]
        turn = np.concatenate([box.plates[w].board_turn(self._own(box, w)) for w in PLATES])
        ordered = np.empty_like(turn)
        ordered[np.concatenate([np.flatnonzero(self._of(box, w)) for w in PLATES])] = turn
        at = np.searchsorted(self.facets, self.disc.facets)
        plain = replace(self.disc, facets=at, turn=ordered)
        mean = self._mean(shell, t, refined(shell, plain, self.owner))
        out = np.empty(len(self.names))
        for w in PLATES:
            some = np.array([p == w for p in self.which])
            limit = box.plates[w].body.wood.strength
            if strength is not None and strength[0] == w:
                limit = replace(limit, **{strength[1]: getattr(limit, strength[1]) * strength[2]})
            if some.any():
                out[some] = np.sqrt(norris(mean[some], limit)[0])
        return self.names, out

    def _mean(self, shell: Shell, t: Floats, disc: Disc) -> Floats:
        """Averaged components of every disc (k, s) at the old displacements."""
        out, u = np.zeros((len(self.names), disc.turn.shape[1])), self.order.solved.u
        for facets, op, _, around in operators(shell, t, disc):
            owner = self.owner if around is None else around
            local = u[shell.freedoms[facets], self.columns[owner][:, None]]
            np.add.at(out, owner, np.einsum("dsj,dj->ds", op, local))
        return out

    def _of(self, box: Box, which: PlateName) -> "np.typing.NDArray[np.bool_]":
        split = len(box.plates["top"].triangles)
        return self.disc.facets < split if which == "top" else self.disc.facets >= split

    def _own(self, box: Box, which: PlateName) -> Ints:
        out: Ints = self.disc.facets[self._of(box, which)] - box.first_facet(which)
        return out


def _middle(disc: Disc) -> Floats:
    if disc.middle is None:
        raise ValueError("a disc without the middles of its parts")
    return disc.middle
