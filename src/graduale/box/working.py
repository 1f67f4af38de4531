"""A plate alone on the bench, held at the line of its ribs, pressed from inside while it is
worked."""

from dataclasses import dataclass

import numpy as np
import shapely

from graduale.base.arrays import Floats
from graduale.box import meshing, parts
from graduale.box.build import disc_points
from graduale.box.cases import PRESS_RADIUS_MM
from graduale.box.plate import PlateBody, ThicknessAt, lift
from graduale.box.readouts import DISC_MM
from graduale.box.spots import Spot
from graduale.records.instrument import Instrument
from graduale.shell.patch import locate, patch_of
from graduale.shell.solver import factor_held
from graduale.shell.stress import disc_of, stress
from graduale.wood.limits import norris

WORK_PRESS_N = 60.0  # the heavier of two hands' presses while scraping [own]


@dataclass(frozen=True, eq=False)
class WorkPress:
    """Utilisation sqrt(Norris) of the outside face, and the give in mm, at each spot (s,)."""

    spots: tuple[Spot, ...]
    use: Floats
    give_mm: Floats


def work_press(
    instrument: Instrument,
    body: PlateBody,
    field: ThicknessAt,
    spots: tuple[Spot, ...],
    size_mm: float,
    *,
    bar: bool,
) -> WorkPress:
    """Presses each spot with 60 N from inside; `body` carries its openings or not."""
    ring = meshing.rib_ring(body, instrument, size_mm)
    with_bar = bar and body.which == "top" and instrument.bar.present
    meshed = meshing.mesh_for_box(instrument, body, ring, size_mm, bar=with_bar)
    plate = lift(body, meshed.mesh, field, np.zeros(len(meshed.mesh.xy)))
    structure = parts.lone_structure(instrument.bar, plate, meshed.bar)
    shell = structure.shell
    t_nodes = field(plate.inside_xy)
    rim = (6 * meshed.rib[:, None] + np.arange(3)).ravel()
    held = factor_held(structure.stiffness(t_nodes), rim)
    t_facet = structure.facet_thickness(t_nodes)
    rows, loads, ways = [], [], []
    for spot in spots:
        points = disc_points(spot.x_mm, spot.y_mm, PRESS_RADIUS_MM)
        facet, shares = locate(plate.mesh.xy, plate.triangles, points)
        patch = patch_of(shell, plate.triangles[facet], shares, np.ones(len(points)))
        normal = body.arching.normal(np.array([[spot.x_mm, spot.y_mm]]))[0]
        ways.append(normal * np.array([1.0, 1.0, body.outward]))
        rows.append(patch.rows)
        loads.append(patch.load(WORK_PRESS_N * ways[-1]))
    u = held.solve(np.column_stack(loads))
    use, give = [], []
    for k, spot in enumerate(spots):
        found = locate(plate.mesh.xy, plate.triangles, _disc_points(spot, body))
        turn = plate.board_turn(np.unique(found[0]))
        disc = disc_of(shell, found, 0, body.outward, turn)
        mean = stress(shell, t_facet, disc, u[:, [k]])
        use.append(float(np.sqrt(norris(mean.T, body.wood.strength)[0][0])))
        give.append(float(ways[k] @ (rows[k] @ u[:, k])[:3]))
    return WorkPress(spots, np.array(use), np.array(give))


def _disc_points(spot: Spot, body: PlateBody) -> Floats:
    """Points over the disc that stress is averaged over, on wood."""
    points = disc_points(spot.x_mm, spot.y_mm, DISC_MM, 6)
    for hole in body.openings:
        points = points[~shapely.contains_xy(shapely.Polygon(hole), points[:, 0], points[:, 1])]
    return points
