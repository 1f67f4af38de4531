"""A plate that is tapped: its free modes and mass as functions of the wood, with exact slopes.

The numbers are logarithms: density, six moduli and nu_LR (`wood.prior.NAMES`), and last the scale
of the whole thickness map, for a caliper that reads off.
"""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.polynomial.legendre import legval

from graduale.base.arrays import Floats, Ints
from graduale.box.parts import lone_structure
from graduale.box.plate import KG_M3, PlateBody, PlateShell, ThicknessAt, lift
from graduale.box.tones import FreePlate, motion_of, name_of
from graduale.geometry.arching import Arching
from graduale.geometry.mesh import mesh_plate
from graduale.geometry.outline import Outline
from graduale.geometry.spline import Surface, net_over
from graduale.records.instrument import Inside, WoodChoice
from graduale.shell.modes import Modes, free_modes
from graduale.shell.moduli import shape_energies
from graduale.shell.structure import Structure
from graduale.wood.material import Wood, facet_stiffness
from graduale.wood.prior import NAMES, wood_at

NUMBERS = (*NAMES, "thickness")
_STEP = 1e-3  # of a logarithm, for central differences: their error is some 1e-6
_ACROSS = 14  # facets over the width of a board
_MOST_LINES = 5


@dataclass(frozen=True, eq=False)
class Heard:
    """What a plate would sound like: hz (k,), d log hz / d log numbers (k, 9), mass g, d log mass
    (9,), modes, the wood and thickness (n,) that they are of."""

    hz: Floats
    slopes: Floats
    mass_g: float
    mass_slopes: Floats
    modes: Modes
    structure: Structure
    t_nodes: Floats


@dataclass(frozen=True, eq=False)
class Tapped:
    """One plate alone: its facets, structure with all that is glued on, thickness (n,) at nodes."""

    plate: PlateShell
    structure: Structure
    t_nodes: Floats
    flat: bool = False  # a rectangular board: modes are named by their node lines

    @property
    def wood(self) -> Wood:
        """The wood as it is known before the taps."""
        return self.plate.body.wood

    def heard(self, logs: Floats, count: int, *, slopes: bool = True) -> Heard:
        """First `count` free modes and the mass at logarithms (9,) of the numbers.

        Errors: Refused when the moduli cannot be a wood's.
        """
        wood, t = wood_at(self.wood, logs[:-1]), float(np.exp(logs[-1])) * self.t_nodes
        structure = self._of(wood)
        found = free_modes(structure.stiffness(t), structure.mass(t), count)
        own = self.mass_of_wood_g(structure, t)
        total = structure.mass_g(t)
        mass_slopes = np.zeros(len(NUMBERS))
        mass_slopes[[0, -1]] = own / total
        rows = self._slopes(structure, t, found, logs) if slopes else np.zeros((count, 0))
        return Heard(found.hz, rows, total, mass_slopes, found, structure, t)

    @staticmethod
    def mass_of_wood_g(structure: Structure, t_nodes: Floats) -> float:
        """Mass of the plate's own wood, without bar, g."""
        return float(structure.mass_slope_g() @ t_nodes)

    def names(self, heard: Heard) -> tuple[str, ...]:
        """Name by shape of every mode: twist, X, ring, or node lines along and across."""
        plate, structure = self.plate, heard.structure
        weight = structure.averaging.T @ (structure.shell.surface * plate.t_ref)
        motions = motion_of(plate, heard.modes)
        if self.flat:
            return tuple(_board_name(plate.mesh.xy, w, weight) for w in motions.T)
        return tuple(name_of(plate.mesh.xy, w, weight, plate.body)[0] for w in motions.T)

    def _of(self, wood: Wood) -> Structure:
        """The structure of another wood."""
        q, h = facet_stiffness(wood, self.plate.axes, self.plate.triads)
        density = np.full(len(q), wood.density_kg_m3 * KG_M3)
        shell = self.structure.shell
        _ = shell.pattern, shell.to_local, shell.surface  # once for all woods
        return replace(self.structure, shell=shell.of_wood(q, h, density))

    def _slopes(self, structure: Structure, t: Floats, found: Modes, logs: Floats) -> Floats:
        """d log hz / d log number (k, 9) = d lambda / (2 lambda)."""
        lam = (2.0 * np.pi * found.hz) ** 2
        out = np.zeros((len(lam), len(NUMBERS)))
        shell, facet = structure.shell, structure.facet_thickness(t)
        moving = shell.mass(facet) @ found.shapes
        out[:, 0] = -0.5 * np.einsum("sk,sk->k", found.shapes, moving)
        for column in range(1, len(NAMES)):
            ends = []
            for step in (_STEP, -_STEP):
                other = logs[:-1] + step * (np.arange(len(NAMES)) == column)
                wood = wood_at(self.wood, other)
                q, h = facet_stiffness(wood, self.plate.axes, self.plate.triads)
                ends.append(shape_energies(shell, facet, found.shapes, q, h))
            out[:, column] = (ends[0] - ends[1]) / (4.0 * _STEP * lam)
        out[:, -1] = (t @ structure.hertz_slopes(t, found)) / found.hz
        return out


def tapped_plate(free: FreePlate, thickness: ThicknessAt) -> Tapped:
    """A carved plate at a thickness rule."""
    return Tapped(free.plate, free.structure, free.thickness(thickness))


def mean_thickness_mm(tapped: Tapped) -> float:
    """Over the plate's surface."""
    structure = tapped.structure
    surface = structure.shell.surface
    return float(surface @ structure.facet_thickness(tapped.t_nodes) / surface.sum())


def tapped_board(
    size_mm: tuple[float, float, float], wood: Wood, choice: WoodChoice, edge_mm: float = 0.0
) -> Tapped:
    """A flat rectangular board, length (along the grain) x width x thickness mm.

    Ring angle and runout are those of `choice`, the same all over. edge_mm: facets' edges, by
    default a fourteenth of the width.
    """
    length, width, thickness = size_mm
    ring = _rectangle(length, width)
    outline = Outline(ring)
    net = net_over(ring.min(axis=0), ring.max(axis=0), 0.25 * max(length, width))
    arching = Arching(Surface(net, np.full(net.shape, thickness)))
    one_piece = replace(choice, one_piece=True)
    body = PlateBody("top", outline, arching, (), wood, one_piece, Inside(0.0, 0.0, 0.0, 0.0))
    mesh = mesh_plate(ring, (), edge_mm or width / _ACROSS)

    def even(xy: Floats) -> Floats:
        return np.full(len(xy), thickness)

    plate = lift(body, mesh, even, np.zeros(len(mesh.xy)))
    none: Ints = np.empty(0, dtype=np.int64)
    structure = lone_structure(None, plate, none)
    return Tapped(plate, structure, np.full(len(mesh.xy), thickness), flat=True)


def _board_name(xy: Floats, w: Floats, weight: Floats) -> str:
    """'m,n': node lines crossed going along and across, by the greatest share among products of
    Legendre polynomials; 'twist' for 1,1."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    at = 2.0 * (xy - low) / (high - low) - 1.0
    shares = {}
    for m, n in product(range(_MOST_LINES + 1), repeat=2):
        plain = legval(at[:, 0], np.eye(m + 1)[m]) * legval(at[:, 1], np.eye(n + 1)[n])
        shares[m, n] = float((weight @ (plain * w)) ** 2 / (weight @ plain**2))
    m, n = max(shares, key=lambda pair: shares[pair])
    return "twist" if (m, n) == (1, 1) else f"{m},{n}"


def _rectangle(length: float, width: float) -> Floats:
    """Ring (k, 2), counter-clockwise, x 0..length, y about the middle; points 2 mm apart."""
    half, steps = 0.5 * width, [max(int(side / 2.0), 4) for side in (length, width)]
    x, y = np.linspace(0.0, length, steps[0] + 1), np.linspace(-half, half, steps[1] + 1)
    sides = [
        np.column_stack([x[:-1], np.full(steps[0], -half)]),
        np.column_stack([np.full(steps[1], length), y[:-1]]),
        np.column_stack([x[:0:-1], np.full(steps[0], half)]),
        np.column_stack([np.zeros(steps[1]), y[:0:-1]]),
    ]
    return np.concatenate(sides)
