"""What is read off the solved box: compliances, rotations, stress over discs; with exact slopes.

Every read-out is a number J >= 0 that grows with demand; slopes are dJ/dt at every node.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from graduale.base.arrays import Floats
from graduale.box.build import Box, disc_points
from graduale.box.cases import Cases, rib_at_bridge
from graduale.box.spots import Spot, strung_spots
from graduale.records.instrument import PlateName
from graduale.shell.patch import locate
from graduale.shell.solver import Held, factor_held
from graduale.shell.stress import Disc, explicit_slopes, pull_back, stress
from graduale.wood.limits import Strength, norris

DISC_MM = 6.0
_SMALLEST = 1e-12


@dataclass(frozen=True, eq=False)
class Probe:
    """A stress read-out: case, disc, strength of that plate; `key` is the same on every body."""

    key: str
    name: str
    plate: PlateName
    face: str  # 'inside' or 'outside'
    case: str
    spot: Spot
    disc: Disc
    strength: Strength


@dataclass(frozen=True, eq=False)
class Reading:
    """Setting of all read-outs of one box: cases and probes, made once."""

    box: Box
    cases: Cases
    probes: tuple[Probe, ...]
    sag_row: Floats  # (size,): sag of the feet against the rib line beside the bridge, down positive
    arch_mm: float  # height of the top's arch at the bridge

    @property
    def keys(self) -> tuple[str, ...]:
        """Names of all read-outs, in the order of the values."""
        return (*self.plain, *(p.key for p in self.probes))

    @property
    def plain(self) -> tuple[str, ...]:
        """The read-outs that are no stress."""
        post = ("across back",) if "post press" in self.cases.names else ()
        return ("across top", *post, "sag share", "lengthwise", "lengthwise per N m")


@dataclass(frozen=True, eq=False)
class Solved:
    """One thickness solved: nodal thickness, factor, displacements (size, c), values by key, slopes."""

    t_nodes: Floats
    held: Held
    u: Floats
    values: Mapping[str, float]
    slopes: Mapping[str, Floats] | None


def reading_of(box: Box, cases: Cases) -> Reading:
    """Probes of all spots: strung ones on both faces, press ones on the inside face."""
    probes: list[Probe] = []
    for which in ("top", "back"):
        for spot in strung_spots(box.instrument, box.plates[which].body):
            probes += [_probe(box, spot, "strung", face) for face in ("inside", "outside")]
        for spot in cases.spots[which]:
            case = f"{which} {spot.key}"
            if case in cases.names:
                probes.append(_probe(box, spot, case, "inside"))
    bridge = box.instrument.bridge
    arch = box.plates["top"].body.arching.height(np.array([[bridge.x_mm, 0.0]]))
    return Reading(box, cases, tuple(probes), sag_row(box, cases), float(arch[0]))


def sag_row(box: Box, cases: Cases, side: str | None = None) -> Floats:
    """Row (size,): how far the feet (or one foot) go down against the rib line beside the bridge."""
    rib = rib_at_bridge(box)
    sides = [side] if side else ["bass", "treble"]
    total = np.zeros(box.shell.size)
    for one in sides:
        foot = cases.feet[one]
        arm = foot.place - rib.place
        carried = rib.rows[2] + arm[1] * rib.rows[3] - arm[0] * rib.rows[4]
        total += np.asarray((carried - foot.rows[2]).todense()).ravel() / len(sides)
    return total


def _probe(box: Box, spot: Spot, case: str, face: str) -> Probe:
    plate = box.plates[spot.plate]
    points = disc_points(spot.x_mm, spot.y_mm, DISC_MM, 6)
    for ring in plate.body.openings:
        points = points[~shapely.contains_xy(shapely.Polygon(ring), points[:, 0], points[:, 1])]
    facets, counts = np.unique(
        locate(plate.mesh.xy, plate.mesh.triangles, points)[0], return_counts=True
    )
    side = plate.body.outward * (1.0 if face == "outside" else -1.0)
    disc = Disc(
        facets + box.first_facet(spot.plate),
        counts / counts.sum(),
        np.full(len(facets), side),
        plate.board_turn(facets),
    )
    key = f"{spot.plate}: {spot.key}, {face} face"
    return Probe(key, spot.name, spot.plate, face, case, spot, disc, plate.body.wood.strength)


def solve(reading: Reading, t_nodes: Floats, *, slopes: bool) -> Solved:
    """Values (and slopes) of all read-outs at one nodal thickness (n,)."""
    box, cases = reading.box, reading.cases
    held = factor_held(box.structure.stiffness(t_nodes), box.held)
    u = held.solve(cases.forces)
    t_facet = box.structure.facet_thickness(t_nodes)
    values, weights = _values(reading, t_facet, u)
    found = _slopes(reading, t_nodes, t_facet, held, u, weights) if slopes else None
    return Solved(t_nodes, held, u, values, found)


def _values(reading: Reading, t_facet: Floats, u: Floats) -> tuple[dict[str, float], list[Floats]]:
    """Values of all read-outs; for each probe dJ/d(stress) (6, 1)."""
    box, cases = reading.box, reading.cases

    def col(name: str) -> Floats:
        out: Floats = u[:, cases.column(name)]
        return out

    def work(name: str) -> float:
        return float(cases.forces[:, cases.column(name)] @ col(name))

    turn = 6 * box.blocks["upper block"] + 4
    values = {"across top": work("foot press")}
    if "post press" in cases.names:
        values["across back"] = work("post press")
    values["sag share"] = abs(float(reading.sag_row @ col("strung"))) / reading.arch_mm
    values["lengthwise"] = abs(float(col("strung")[turn]))
    values["lengthwise per N m"] = abs(float(col("bend")[turn]))
    weights = []
    for probe in reading.probes:
        mean = stress(box.shell, t_facet, probe.disc, col(probe.case)[:, None])
        index, slope = norris(mean.T, probe.strength)
        use = float(np.sqrt(index[0]))
        values[probe.key] = use
        weights.append(slope.T / (2.0 * max(use, _SMALLEST)))
    return values, weights


def _slopes(
    reading: Reading,
    t_nodes: Floats,
    t_facet: Floats,
    held: Held,
    u: Floats,
    weights: list[Floats],
) -> dict[str, Floats]:
    box, cases = reading.box, reading.cases
    turn = 6 * box.blocks["upper block"] + 4
    names, rights, used, explicit = [], [], [], []
    zero = np.zeros(len(t_nodes))
    for key, case in (("across top", "foot press"), ("across back", "post press")):
        if case in cases.names:
            names.append(key)
            rights.append(cases.forces[:, cases.column(case)])
            used.append(cases.column(case))
            explicit.append(zero)
    strung = cases.column("strung")
    names.append("sag share")
    rights.append(np.sign(reading.sag_row @ u[:, strung]) / reading.arch_mm * reading.sag_row)
    used.append(strung)
    explicit.append(zero)
    for key, case in (("lengthwise", "strung"), ("lengthwise per N m", "bend")):
        one = np.zeros(box.shell.size)
        one[turn] = np.sign(u[turn, cases.column(case)])
        names.append(key)
        rights.append(one)
        used.append(cases.column(case))
        explicit.append(zero)
    for probe, weight in zip(reading.probes, weights, strict=True):
        column = cases.column(probe.case)
        names.append(probe.key)
        rights.append(pull_back(box.shell, t_facet, probe.disc, weight)[:, 0])
        used.append(column)
        direct = explicit_slopes(box.shell, t_facet, probe.disc, u[:, [column]], weight)
        explicit.append(box.structure.averaging.T @ direct[:, 0])
    adjoint = held.solve(np.column_stack(rights))
    through = box.structure.stiffness_slopes(t_nodes, adjoint, u[:, used])
    total = np.column_stack(explicit) - through
    return dict(zip(names, total.T, strict=True))
