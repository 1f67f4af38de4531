"""The plainest carvable map whose every verdict holds: coarse box for the slopes, fine box for
the truth.

Each read-out of the coarse box is corrected by fine/coarse, taken at the map in hand, so that the
limits are met on the fine box. Families of zones are tried from the plainest; a freer one is taken
only when it saves a stated share of the mass.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from graduale.base.arrays import Floats
from graduale.base.progress import Progress, part
from graduale.box.readouts import Reading, Solved, solve
from graduale.records.instrument import PlateName
from graduale.thickness.field import FAMILIES, Basis, Layout

WORTH_SHARE = 0.03  # mass that a freer family must save to be taken [own]
ROUND_MM = 0.05
MOST_MM = 6.0
_PLATES: tuple[PlateName, PlateName] = ("top", "back")
_START_MM = 3.0
Zones = Mapping[PlateName, Floats]


@dataclass(frozen=True, eq=False)
class Trial:
    """One optimised family."""

    family: str
    zones: Zones
    mass_g: float
    solves: int
    feasible: bool


@dataclass(frozen=True, eq=False)
class Choice:
    """The chosen zones, what was tried, the fine solution, keys of verdicts that no thickness
    meets."""

    family: str
    zones: Zones
    trials: tuple[Trial, ...]
    solved: Solved
    unreachable: tuple[str, ...]
    at_least: tuple[str, ...]  # 'top centre', ... that lie on the least thickness


@dataclass(frozen=True, eq=False)
class Problem:
    """One box with layouts and limits (demand units by key)."""

    reading: Reading
    layouts: Mapping[PlateName, Layout]
    limits: Mapping[str, float]

    def bases(self) -> dict[PlateName, Basis]:
        """Zone shares at the nodes of both plates."""
        plates = self.reading.box.plates
        return {w: self.layouts[w].basis(plates[w].inside_xy) for w in _PLATES}


class _Coarse:
    """Values and slopes at few numbers; the last solve is kept."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.bases = problem, problem.bases()
        box = problem.reading.box
        self.mass_row = box.structure.mass_slope_g()
        self.solves = 0
        self._at: tuple[bytes, Solved] | None = None

    def nodes(self, zones: Zones) -> Floats:
        box = self.problem.reading.box
        out = np.zeros(len(box.shell.nodes))
        for w in _PLATES:
            start = box.first_node(w)
            out[start : start + len(self.bases[w].seat)] = self.bases[w].thickness(zones[w])
        return out

    def slopes(self, zones: Zones) -> Floats:
        """d t_nodes / d (top zones, back zones), (n, 8)."""
        box = self.problem.reading.box
        out = np.zeros((len(box.shell.nodes), 8))
        for i, w in enumerate(_PLATES):
            start = box.first_node(w)
            rows = self.bases[w].slopes(zones[w])
            out[start : start + len(rows), 4 * i : 4 * i + 4] = rows
        return out

    def solved(self, zones: Zones) -> Solved:
        key = np.concatenate([zones[w] for w in _PLATES]).tobytes()
        if self._at is None or self._at[0] != key:
            self.solves += 1
            self._at = key, solve(self.problem.reading, self.nodes(zones), slopes=True)
        return self._at[1]


def choose(
    coarse: Problem,
    fine: Problem,
    progress: Progress,
    families: Mapping[str, Floats] = FAMILIES,
) -> Choice:
    """The plainest map that meets all limits that any thickness can meet."""
    search, truth = _Coarse(coarse), _Coarse(fine)
    zones: Zones = {w: np.full(4, _START_MM) for w in _PLATES}
    unreachable = _unreachable(truth, fine)
    progress(0.12, "choose")
    kept: Trial | None = None
    trials = []
    names = list(families)
    for i, name in enumerate(names):
        step = part(progress, 0.12 + 0.7 * i / len(names), 0.12 + 0.7 * (i + 1) / len(names))
        trial = _settle(name, families[name], zones, search, truth, unreachable, step)
        trials.append(trial)
        better = kept is None or (trial.feasible, -trial.mass_g) > (kept.feasible, -kept.mass_g)
        worth = kept is None or trial.mass_g < (1.0 - WORTH_SHARE) * kept.mass_g
        if kept is None or (better and (worth or not kept.feasible)):
            kept, zones = trial, trial.zones
        elif kept.feasible:
            break  # freer zones no longer pay
    assert kept is not None
    rounded = {w: np.ceil(kept.zones[w] / ROUND_MM - 1e-6) * ROUND_MM for w in _PLATES}
    progress(0.9, "settle")
    final = solve(fine.reading, truth.nodes(rounded), slopes=True)
    least = _on_least(coarse, rounded)
    return Choice(kept.family, rounded, tuple(trials), final, unreachable, least)


def mended(
    family: Floats,
    zones: Zones,
    bases: Mapping[PlateName, Basis],
    first: Mapping[PlateName, int],
    solved: Solved,
    limits: Mapping[str, float],
) -> Zones:
    """Zones raised in steps of 0.05 where a verdict is still over its limit by a little.

    For the worst verdict, the free number that lowers it most for its mass is raised by what the
    slopes say is missing. `bases`, `first`: zone shares and first node of each plate in the
    solved box.
    """
    slopes = solved.slopes
    assert slopes is not None
    key = max(limits, key=lambda k: solved.values[k] / limits[k])
    lack = np.log(solved.values[key] / limits[key])
    best: tuple[float, PlateName, int] | None = None
    for w in _PLATES:
        rows = bases[w].slopes(zones[w]) @ family
        nodes = slopes[key][first[w] : first[w] + len(rows)]
        gain = -(nodes @ rows) / solved.values[key]
        for i, value in enumerate(gain):
            if best is None or value > best[0]:
                best = float(value), w, i
    out = {w: np.array(zones[w]) for w in _PLATES}
    if best is None or best[0] <= 0.0:
        return out
    steps = min(10.0, max(1.0, np.ceil(lack / best[0] / ROUND_MM)))
    out[best[1]] = out[best[1]] + family[:, best[2]] * steps * ROUND_MM
    return out


def _settle(
    name: str,
    family: Floats,
    start: Zones,
    search: _Coarse,
    truth: _Coarse,
    unreachable: tuple[str, ...],
    progress: Progress,
) -> Trial:
    """Two rounds: correct coarse by fine at the map in hand, then optimise."""
    zones, before = start, search.solves
    for round_ in range(2):
        progress(0.5 * round_, "choose")
        fine = solve(truth.problem.reading, truth.nodes(zones), slopes=False).values
        rough = search.solved(zones).values
        limits = {
            k: v * rough[k] / fine[k]
            for k, v in truth.problem.limits.items()
            if k not in unreachable and k in rough
        }
        zones = _optimise(search, family, zones, limits, progress)
    fine = solve(truth.problem.reading, truth.nodes(zones), slopes=False).values
    gaps = [fine[k] / v for k, v in truth.problem.limits.items() if k not in unreachable]
    mass = float(truth.mass_row @ truth.nodes(zones))
    return Trial(name, zones, mass, search.solves - before, max(gaps, default=0.0) < 1.01)


def _optimise(
    search: _Coarse, family: Floats, start: Zones, limits: Mapping[str, float], progress: Progress
) -> Zones:
    """Least mass under log(demand/limit) <= 0; sequential quadratic programming (SciPy's SLSQP)."""
    wide = np.kron(np.eye(2), family)
    first = np.concatenate([np.linalg.lstsq(family, start[w], rcond=None)[0] for w in _PLATES])
    low = [bound for w in _PLATES for bound in _least_of(search.problem.layouts[w], family)]
    keys = list(limits)
    bound = np.array([limits[k] for k in keys])

    def zones_of(p: Floats) -> Zones:
        z = wide @ p
        return {"top": z[:4], "back": z[4:]}

    def mass(p: Floats) -> tuple[float, Floats]:
        z = zones_of(p)
        slope = search.mass_row @ search.slopes(z) @ wide
        return float(search.mass_row @ search.nodes(z)), slope

    def room(p: Floats) -> Floats:
        progress(0.5, "choose")
        values = search.solved(zones_of(p)).values
        out: Floats = -np.log(np.array([values[k] for k in keys]) / bound)
        return out

    def room_slopes(p: Floats) -> Floats:
        z = zones_of(p)
        got = search.solved(z)
        assert got.slopes is not None
        rows = np.array([got.slopes[k] / got.values[k] for k in keys])
        out: Floats = -rows @ search.slopes(z) @ wide
        return out

    found = minimize(  # type: ignore[call-overload]  # the stubs know no jac=True with constraints
        mass,
        np.clip(first, low, MOST_MM),
        jac=True,
        method="SLSQP",
        bounds=[(b, MOST_MM) for b in low],
        constraints=[{"type": "ineq", "fun": room, "jac": room_slopes}],
        options={"maxiter": 14, "ftol": 0.02},
    )
    return zones_of(np.clip(found.x, low, MOST_MM))


def _least_of(layout: Layout, family: Floats) -> list[float]:
    """Lower bound of each free number: the greatest least thickness of the zones that it moves."""
    least = np.array([layout.least_mm] * 3 + [layout.least_channel_mm])
    return [float(least[column > 0.0].max()) for column in family.T]


def _unreachable(truth: _Coarse, fine: Problem) -> tuple[str, ...]:
    """Keys that stay over their limit however thick both plates are (up to 6 mm, at 4 and at 6)."""
    over: set[str] | None = None
    for t in (4.0, MOST_MM):
        zones: Zones = {w: np.full(4, t) for w in _PLATES}
        values = solve(fine.reading, truth.nodes(zones), slopes=False).values
        now = {k for k, v in fine.limits.items() if values[k] > v}
        over = now if over is None else over & now
    return tuple(sorted(over or ()))


def _on_least(problem: Problem, zones: Zones) -> tuple[str, ...]:
    names = ("centre", "upper bout", "lower bout", "channel")
    return tuple(
        f"{w} {name}"
        for w in _PLATES
        for name, value, least in zip(
            names, zones[w], _least_of(problem.layouts[w], np.eye(4)), strict=True
        )
        if value <= least + ROUND_MM
    )
