"""A press of 50 N at any place of the solved box, held against the reference at the nearest named
spot."""

from dataclasses import dataclass

import numpy as np

from graduale.base.arrays import Floats
from graduale.box.cases import press
from graduale.box.readouts import Reading, probe_at
from graduale.box.spots import Spot
from graduale.box.verdicts import Band
from graduale.shell.solver import factor_held
from graduale.shell.stress import stress
from graduale.wood.limits import norris


@dataclass(frozen=True, eq=False)
class LocalPress:
    """What a press at `spot` comes to: use = sqrt(Norris index) on the inside face; the reference
    spot (same share of length and width on every body), ratio to the average there, band, limit,
    reserve."""

    spot: Spot
    near: Spot
    use: float
    ratio: float
    band: tuple[float, float]
    limit: float
    reserve: float


def press_uses(reading: Reading, t_nodes: Floats, spots: tuple[Spot, ...]) -> Floats:
    """Utilisation (s,) under a press of 50 N at each spot, one solve for all. t_nodes (n,)."""
    box = reading.box
    held = factor_held(box.structure.stiffness(t_nodes), box.held)
    u = held.solve(np.column_stack([press(box, s.plate, s) for s in spots]))
    t_facet = box.structure.facet_thickness(t_nodes)
    out = []
    for k, spot in enumerate(spots):
        probe = probe_at(box, spot, "press", "inside")
        mean = stress(box.shell, t_facet, probe.disc, u[:, [k]])
        out.append(float(np.sqrt(norris(mean.T, probe.strength)[0][0])))
    return np.array(out)


def local_presses(
    reading: Reading, t_nodes: Floats, spots: tuple[Spot, ...], band: Band, margin: float
) -> tuple[LocalPress, ...]:
    """Each spot against the band at the nearest press spot that the band knows."""
    if not spots:
        return ()
    uses, out = press_uses(reading, t_nodes, spots), []
    for spot, use in zip(spots, uses, strict=True):
        near = nearest_known(reading, spot, band)
        key = f"{near.plate}: {near.key}"
        base, ratios = band.yard(key), band.ratios(key)
        assert base is not None and ratios is not None
        limit = ratios[1] / (1.0 + margin)
        ratio = float(use) / base
        out.append(LocalPress(spot, near, float(use), ratio, ratios, limit, limit / ratio))
    return tuple(out)


def nearest_known(reading: Reading, spot: Spot, band: Band) -> Spot:
    """The press spot nearest to a place that every member of the band knows. Errors: ValueError
    if none."""
    known = [
        s for s in reading.cases.spots[spot.plate] if band.ratios(f"{s.plate}: {s.key}") is not None
    ]
    if not known:
        raise ValueError(f"the reference band knows no press spot of the {spot.plate}")
    return min(known, key=lambda s: np.hypot(s.x_mm - spot.x_mm, s.y_mm - spot.y_mm))
