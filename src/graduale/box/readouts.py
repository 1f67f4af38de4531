"""What is read off the solved box: compliances, rotations, stress over discs; with exact slopes.

Every read-out is a number J >= 0 that grows with demand; slopes are dJ/dt at every node.
Stress under the strings is read on both faces and the worse one counts; under a press the inside
face, which it stretches.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely

from graduale.base.arrays import Floats, Ints
from graduale.box.build import Box, disc_points, rect_points
from graduale.box.cases import Cases, rib_at_bridge
from graduale.box.spots import Spot, strung_spots
from graduale.records.instrument import PlateName
from graduale.shell.patch import locate
from graduale.shell.solver import Held, factor_held
from graduale.shell.stress import Disc, disc_of, explicit_slopes, pull_back, stress
from graduale.wood.limits import Strength, norris

DISC_MM = 6.0
_PLATES: tuple[PlateName, PlateName] = ("top", "back")
SMALLEST = 1e-12


@dataclass(frozen=True, eq=False)
class Probe:
    """A stress read-out: case, disc, strength of that plate; `key` is the same on every body.

    Several probes may share a key (both faces of a spot): the worst counts.
    """

    key: str
    name: str
    plate: PlateName
    face: str  # 'inside' or 'outside'
    case: str
    spot: Spot
    disc: Disc
    strength: Strength


@dataclass(frozen=True, eq=False)
class Punch:
    """Shear through the thickness around a loaded patch: 1.5 V / (perimeter t) over the rolling
    shear.

    V is `force_n`, or the force of the post when None. t_row (n,): mean thickness there.
    """

    key: str
    name: str
    plate: PlateName
    spot: Spot
    force_n: float | None
    perimeter_mm: float
    strength_mpa: float
    t_row: Floats


@dataclass(frozen=True, eq=False)
class Reading:
    """All read-outs of one box, made once.

    sag_row (size,): sag of the feet against the rib line beside the bridge, down positive;
    arch_mm: height of the top's arch at the bridge.
    """

    box: Box
    cases: Cases
    probes: tuple[Probe, ...]
    punches: tuple[Punch, ...]
    sag_row: Floats
    arch_mm: float

    @property
    def keys(self) -> tuple[str, ...]:
        """Names of all read-outs."""
        post = ("across back",) if "post press" in self.cases.names else ()
        plain = ("across top", *post, "sag share", "lengthwise", "lengthwise per N m")
        return (*plain, *(p.key for p in self.punches), *dict.fromkeys(p.key for p in self.probes))


@dataclass(frozen=True, eq=False)
class Solved:
    """One thickness solved: nodal thickness, factor, displacements (size, c), values by key.

    faces: which face governs at each stress key; slopes by key (n,), or None when not asked for.
    """

    t_nodes: Floats
    held: Held
    u: Floats
    values: Mapping[str, float]
    faces: Mapping[str, str]
    slopes: Mapping[str, Floats] | None


def reading_of(box: Box, cases: Cases) -> Reading:
    """Probes of all spots: strung ones on both faces, press ones on the inside face."""
    probes: list[Probe] = []
    for which in _PLATES:
        for spot in strung_spots(box.instrument, box.plates[which].body):
            probes += [probe_at(box, spot, "strung", face) for face in ("inside", "outside")]
        for spot in cases.spots[which]:
            case = f"{which} {spot.key}"
            if case in cases.names:
                probes.append(probe_at(box, spot, case, "inside"))
    bridge = box.instrument.bridge
    arch = box.plates["top"].body.arching.height(np.array([[bridge.x_mm, 0.0]]))
    return Reading(
        box, cases, tuple(probes), _punches(box, cases), sag_row(box, cases), float(arch[0])
    )


def probe_at(box: Box, spot: Spot, case: str, face: str) -> Probe:
    """Stress over a disc at a spot, on one face, under one case."""
    plate = box.plates[spot.plate]
    points = disc_points(spot.x_mm, spot.y_mm, DISC_MM, 6)
    for ring in plate.body.openings:
        points = points[~shapely.contains_xy(shapely.Polygon(ring), points[:, 0], points[:, 1])]
    found = locate(plate.mesh.xy, plate.mesh.triangles, points)
    side = plate.body.outward * (1.0 if face == "outside" else -1.0)
    turn = plate.board_turn(np.unique(found[0]))
    disc = disc_of(box.shell, found, box.first_facet(spot.plate), side, turn)
    key = f"{spot.plate}: {spot.key}"
    return Probe(key, spot.name, spot.plate, face, case, spot, disc, plate.body.wood.strength)


def sag_row(box: Box, cases: Cases, side: str | None = None) -> Floats:
    """Row (size,): how far the feet (or one foot) go down against the rib line beside the
    bridge."""
    rib = rib_at_bridge(box)
    sides = [side] if side else ["bass", "treble"]
    total = np.zeros(box.shell.size)
    for one in sides:
        foot = cases.feet[one]
        arm = foot.place - rib.place
        carried = rib.rows[2] + arm[1] * rib.rows[3] - arm[0] * rib.rows[4]
        total += np.asarray((carried - foot.rows[2]).todense()).ravel() / len(sides)
    return total


def _punches(box: Box, cases: Cases) -> tuple[Punch, ...]:
    """Under both feet of the bridge, and at the post in both plates."""
    inst, out = box.instrument, []
    b, post = inst.bridge, inst.post
    around = 2.0 * (b.foot_length_mm + b.foot_width_mm)
    feet = {"bass": b.bass_foot_y_mm, "treble": b.treble_foot_y_mm}
    for side, y in feet.items():
        points = rect_points(b.x_mm, y, b.foot_width_mm, b.foot_length_mm)
        force = abs(float(cases.strings.feet[side].force[2]))
        spot = Spot(f"{side} foot shear", f"around the {side} foot", "top", b.x_mm, y)
        out.append(_punch(box, spot, points, force, around))
    if post.present:
        points = disc_points(post.x_mm, post.y_mm, 0.5 * post.diameter_mm)
        for which in _PLATES:
            spot = Spot("post shear", "around the post", which, post.x_mm, post.y_mm)
            out.append(_punch(box, spot, points, None, np.pi * post.diameter_mm))
    return tuple(out)


def _punch(box: Box, spot: Spot, points: Floats, force: float | None, around: float) -> Punch:
    mesh = box.plates[spot.plate].mesh
    facet, shares = locate(mesh.xy, mesh.triangles, points)
    row = np.zeros(len(box.shell.nodes))
    nodes = mesh.triangles[facet] + box.first_node(spot.plate)
    np.add.at(row, nodes, shares / len(points))
    strength = box.plates[spot.plate].body.wood.strength.rolling_shear
    key = f"{spot.plate}: {spot.key}"
    return Punch(key, spot.name, spot.plate, spot, force, around, strength, row)


def post_force(reading: Reading, u: Floats) -> float:
    """Force in the post in N under displacement u (size,), compression positive; 0 without a
    post."""
    structure = reading.box.structure
    if reading.box.post_rows is None or structure.spring_n_mm is None:
        return 0.0
    return -float(structure.spring_n_mm[0] * (reading.box.post_rows @ u)[0])


Wanted = bool | Callable[[Mapping[str, float]], Collection[str]]


def solve(reading: Reading, t_nodes: Floats, *, slopes: Wanted) -> Solved:
    """Values of all read-outs at one nodal thickness (n,).

    slopes: of all read-outs, of none, or of those that a rule picks from the values.
    """
    box, cases = reading.box, reading.cases
    held = factor_held(box.structure.stiffness(t_nodes), box.held)
    u = held.solve(cases.forces)
    t_facet = box.structure.facet_thickness(t_nodes)
    values = plain_values(reading, u)
    values |= {p.key: punch_value(reading, p, t_nodes, u) for p in reading.punches}
    worst = _worst_probes(reading, t_facet, u)
    values |= {key: use for key, (_, use, _) in worst.items()}
    faces = {key: probe.face for key, (probe, _, _) in worst.items()}
    found = None
    if slopes:
        wanted = frozenset(values if slopes is True else slopes(values))
        found = _Slopes(reading, t_nodes, t_facet, held, u, wanted).of(
            {k: (p, w) for k, (p, _, w) in worst.items()}, values
        )
    return Solved(t_nodes, held, u, values, faces, found)


def solve_with_adjoints(
    reading: Reading, t_nodes: Floats
) -> tuple[Solved, tuple[str, ...], Ints, Floats]:
    """Values and slopes, and of every read-out: its name, the case it is read from (k,), its
    adjoint (size, k)."""
    solved = solve(reading, t_nodes, slopes=False)
    t_facet = reading.box.structure.facet_thickness(t_nodes)
    worst = _worst_probes(reading, t_facet, solved.u)
    wanted = frozenset(solved.values)
    found = _Slopes(reading, t_nodes, t_facet, solved.held, solved.u, wanted)
    slopes = found.of({k: (p, w) for k, (p, _, w) in worst.items()}, solved.values)
    return replace(solved, slopes=slopes), tuple(found.names), np.array(found.used), found.adjoint


def _turn(box: Box) -> int:
    """The freedom that is the rotation of the upper block about y (the lower block is held)."""
    return 6 * box.blocks["upper block"] + 4


def plain_values(reading: Reading, u: Floats) -> dict[str, float]:
    """Compliances, sag share and rotations; u (size, c), columns of single presses unused."""
    cases, turn = reading.cases, _turn(reading.box)

    def work(name: str) -> float:
        column = cases.column(name)
        return float(cases.forces[:, column] @ u[:, column])

    values = {"across top": work("foot press")}
    if "post press" in cases.names:
        values["across back"] = work("post press")
    strung = u[:, cases.column("strung")]
    values["sag share"] = abs(float(reading.sag_row @ strung)) / reading.arch_mm
    values["lengthwise"] = abs(float(strung[turn]))
    values["lengthwise per N m"] = abs(float(u[turn, cases.column("bend")]))
    return values


def punch_value(reading: Reading, punch: Punch, t_nodes: Floats, u: Floats) -> float:
    """Shear around a patch over the rolling shear strength; u (size, c) as above."""
    strung = u[:, reading.cases.column("strung")]
    force = abs(post_force(reading, strung)) if punch.force_n is None else punch.force_n
    area = punch.perimeter_mm * float(punch.t_row @ t_nodes)
    return 1.5 * force / area / punch.strength_mpa


def _worst_probes(
    reading: Reading, t_facet: Floats, u: Floats
) -> dict[str, tuple[Probe, float, Floats]]:
    """By key: the worst probe, its utilisation sqrt(Norris), and d(utilisation)/d(stress) (6,
    1)."""
    out: dict[str, tuple[Probe, float, Floats]] = {}
    for probe in reading.probes:
        column = u[:, [reading.cases.column(probe.case)]]
        mean = stress(reading.box.shell, t_facet, probe.disc, column)
        index, slope = norris(mean.T, probe.strength)
        use = float(np.sqrt(index[0]))
        if probe.key not in out or use > out[probe.key][1]:
            out[probe.key] = probe, use, slope.T / (2.0 * max(use, SMALLEST))
    return out


class _Slopes:
    """Gathers right sides of the adjoint solves of the wanted read-outs; one solve for all."""

    def __init__(
        self,
        reading: Reading,
        t_nodes: Floats,
        t_facet: Floats,
        held: Held,
        u: Floats,
        wanted: frozenset[str],
    ) -> None:
        self.wanted = wanted
        self.reading, self.t_nodes, self.t_facet = reading, t_nodes, t_facet
        self.held, self.u = held, u
        self.names: list[str] = []
        self.rights: list[Floats] = []
        self.used: list[int] = []
        self.direct: list[Floats] = []
        self.adjoint = np.zeros((0, 0))

    def _add(self, key: str, case: str, right: Floats, direct: Floats | None = None) -> None:
        if key not in self.wanted:
            return
        self.names.append(key)
        self.used.append(self.reading.cases.column(case))
        self.rights.append(right)
        self.direct.append(np.zeros(len(self.t_nodes)) if direct is None else direct)

    def of(
        self, worst: Mapping[str, tuple[Probe, Floats]], values: Mapping[str, float]
    ) -> dict[str, Floats]:
        """d values / dt at the nodes, by key."""
        self._plain()
        for punch in self.reading.punches:
            self._punch(punch, values[punch.key])
        for key, (probe, weight) in worst.items():
            if key in self.wanted:
                self._probe(key, probe, weight)
        if not self.names:
            return {}
        adjoint = self.adjoint = self.held.solve(np.column_stack(self.rights))
        structure = self.reading.box.structure
        through = structure.stiffness_slopes(self.t_nodes, adjoint, self.u[:, self.used])
        return dict(zip(self.names, (np.column_stack(self.direct) - through).T, strict=True))

    def _plain(self) -> None:
        r, cases = self.reading, self.reading.cases
        for key, case in (("across top", "foot press"), ("across back", "post press")):
            if case in cases.names:
                self._add(key, case, cases.forces[:, cases.column(case)])
        sag = np.sign(r.sag_row @ self.u[:, cases.column("strung")]) / r.arch_mm
        self._add("sag share", "strung", sag * r.sag_row)
        for key, case in (("lengthwise", "strung"), ("lengthwise per N m", "bend")):
            one = np.zeros(r.box.shell.size)
            one[_turn(r.box)] = np.sign(self.u[_turn(r.box), cases.column(case)])
            self._add(key, case, one)

    def _punch(self, punch: Punch, value: float) -> None:
        direct = -value / float(punch.t_row @ self.t_nodes) * punch.t_row
        right = np.zeros(self.reading.box.shell.size)
        box = self.reading.box
        strung = self.u[:, self.reading.cases.column("strung")]
        force = post_force(self.reading, strung)
        if punch.force_n is None and box.post_rows is not None and force != 0.0:
            stiff = box.structure.spring_n_mm
            assert stiff is not None
            row = np.asarray(box.post_rows.todense()).ravel()
            right = -stiff[0] * row * value / force
        self._add(punch.key, "strung", right, direct)

    def _probe(self, key: str, probe: Probe, weight: Floats) -> None:
        box, column = self.reading.box, self.reading.cases.column(probe.case)
        right = pull_back(box.shell, self.t_facet, probe.disc, weight)[:, 0]
        direct = explicit_slopes(box.shell, self.t_facet, probe.disc, self.u[:, [column]], weight)
        self._add(key, probe.case, right, box.structure.averaging.T @ direct[:, 0])
