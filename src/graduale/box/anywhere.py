"""A press of 50 N at any place of the solved box, held against the reference at the nearest spot.

The stress of a sound plate is read under the press on its inside face. A thin spot hides from that
read-out: it bends sharpest at its rim, and the thicker wood around it takes the load. So around a
thin spot discs on both faces are read and the worst counts, divided by what the same search finds
over the usual read-out on a smooth plate; on a smooth plate this is the usual read-out.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from graduale.base.arrays import Floats
from graduale.box.cases import press
from graduale.box.readouts import Reading, probe_at
from graduale.box.spots import Spot
from graduale.box.verdicts import Band
from graduale.shell.solver import factor_held
from graduale.shell.stress import stress
from graduale.wood.limits import norris

_RING_STEP_MM = 5.0
_AROUND = 8
_KEEP_FROM_EDGE_MM = 3.0
_MOST_CALM = 2.5  # the search may count for so much of its own, no more [own]


@dataclass(frozen=True, eq=False)
class LocalPress:
    """What a press at `spot` comes to.

    near: the reference spot (at the same share of length and width on every body); use: worst
    sqrt(Norris index) around the spot; ratio to the average violin at `near`, band, limit, reserve.
    """

    spot: Spot
    near: Spot
    use: float
    ratio: float
    band: tuple[float, float]
    limit: float
    reserve: float


def press_uses(
    reading: Reading, t_nodes: Floats, spots: tuple[Spot, ...], reach_mm: Floats
) -> tuple[Floats, Floats]:
    """Under a press at each spot: the usual read-out (s,), the worst within its reach (s,).

    t_nodes (n,), reach_mm (s,). One factor, one solve for all spots.
    """
    box = reading.box
    held = factor_held(box.structure.stiffness(t_nodes), box.held)
    u = held.solve(np.column_stack([press(box, s.plate, s) for s in spots]))
    t_facet = box.structure.facet_thickness(t_nodes)

    def use(place: Spot, face: str, column: int) -> float:
        probe = probe_at(box, place, "press", face)
        mean = stress(box.shell, t_facet, probe.disc, u[:, [column]])
        return float(np.sqrt(norris(mean.T, probe.strength)[0][0]))

    usual = [use(s, "inside", k) for k, s in enumerate(spots)]
    worst = [
        max(use(p, face, k) for p in _around(reading, s, reach) for face in ("inside", "outside"))
        for k, (s, reach) in enumerate(zip(spots, reach_mm, strict=True))
    ]
    return np.array(usual), np.array(worst)


def _around(reading: Reading, spot: Spot, reach_mm: float) -> list[Spot]:
    """The spot itself and rings of places around it, on wood."""
    body = reading.box.plates[spot.plate].body
    rings = np.arange(_RING_STEP_MM, reach_mm + 0.5 * _RING_STEP_MM, _RING_STEP_MM)
    angles = 2.0 * np.pi * np.arange(_AROUND) / _AROUND
    away = np.stack([np.outer(rings, np.cos(angles)), np.outer(rings, np.sin(angles))], axis=-1)
    steps = np.concatenate([np.zeros((1, 2)), away.reshape(-1, 2)])
    xy = steps + np.array([spot.x_mm, spot.y_mm])
    good = body.outline.edge_distance(xy) > _KEEP_FROM_EDGE_MM
    for ring in body.openings:
        good &= ~shapely.contains_xy(shapely.Polygon(ring), xy[:, 0], xy[:, 1])
    good[0] = True
    return [Spot(spot.key, spot.name, spot.plate, float(x), float(y)) for x, y in xy[good]]


def local_presses(
    reading: Reading,
    t_nodes: Floats,
    smooth: Floats,
    spots: tuple[Spot, ...],
    reach_mm: Floats,
    band: Band,
    margin: float,
) -> tuple[LocalPress, ...]:
    """Each spot against the band at the nearest press spot that the band knows.

    t_nodes (n,): as the plates are; smooth (n,): the same plates without their thin spots.
    """
    if not spots:
        return ()
    plain, search = press_uses(reading, smooth, spots, reach_mm)
    worst = press_uses(reading, t_nodes, spots, reach_mm)[1]
    calm = np.clip(search / np.maximum(plain, 1e-12), 1.0, _MOST_CALM)
    return tuple(
        _held_against(reading, spot, float(use), float(use / c), band, margin)
        for spot, use, c in zip(spots, worst, calm, strict=True)
    )


def _held_against(
    reading: Reading, spot: Spot, use: float, demand: float, band: Band, margin: float
) -> LocalPress:
    near = nearest_known(reading, spot, band)
    key = f"{near.plate}: {near.key}"
    base, ratios, limit = band.yard(key), band.ratios(key), band.limit(key, margin)
    if base is None or ratios is None or limit is None:
        raise ValueError(f"the reference band does not know {key}")
    ratio = demand / base
    return LocalPress(spot, near, use, ratio, ratios, limit, limit / max(ratio, 1e-12))


def nearest_known(reading: Reading, spot: Spot, band: Band) -> Spot:
    """The press spot nearest to a place that every member of the band knows. Errors: ValueError if
    there is none."""
    spots = reading.cases.spots[spot.plate]
    known = [s for s in spots if band.ratios(f"{s.plate}: {s.key}") is not None]
    if not known:
        raise ValueError(f"the reference band knows no press spot of the {spot.plate}")
    return min(known, key=lambda s: float(np.hypot(s.x_mm - spot.x_mm, s.y_mm - spot.y_mm)))
