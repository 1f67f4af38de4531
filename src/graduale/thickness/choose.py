"""The plainest carvable map whose every verdict holds: coarse box for the slopes, fine box for
the truth.

Each read-out of the coarse box is corrected by fine/coarse, taken at the map in hand, so that the
limits are met on the fine box. Families of zones are tried from the plainest; a freer one is taken
only when it saves a stated share of the mass. What is solved for one family serves the next: slopes
are kept for all zones.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from graduale.base.arrays import Floats
from graduale.base.progress import Progress, part
from graduale.box.readouts import Reading, Solved, solve
from graduale.records.instrument import PlateName
from graduale.thickness.field import FAMILIES, Basis, Layout
from graduale.thickness.power import PowerLaw, lightest

WORTH_SHARE = 0.03  # mass that a freer family must save to be taken [own]
ROUND_MM = 0.05
MOST_MM = 6.0
_PLATES: tuple[PlateName, PlateName] = ("top", "back")
START_MM = 3.0
_NEAR_MM, _NEARER_MM = 0.03, 0.01  # a search ends when no zone moves further
_ROUNDS = 7
_REACH = 0.4  # of the log of a number in one step
_IN_SIGHT = 0.45  # share of its limit from which a demand's slopes are asked for
_NEAR = 0.8  # the same where older slopes are known
_SURE = 0.07  # so near to its limit a corrected demand is asked of the fine box [own]
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
    """The chosen zones, what was tried, keys of verdicts that no thickness meets.

    solved: the fine solution at these zones with its slopes, once it is made.
    """

    family: str
    zones: Zones
    trials: tuple[Trial, ...]
    solved: Solved | None
    unreachable: tuple[str, ...]
    at_least: tuple[str, ...]  # 'top centre', ... that lie on the least thickness


class Truth(Protocol):
    """Where the demands of a map are read in full."""

    @property
    def limits(self) -> Mapping[str, float]:
        """Greatest allowed demand by key."""
        ...

    def values(self, zones: Zones) -> Mapping[str, float]:
        """Demands by key at zone values."""
        ...


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

    def values(self, zones: Zones) -> Mapping[str, float]:
        """Demands by key at zone values; one solve without slopes."""
        fields = {w: self.layouts[w].at(zones[w]) for w in _PLATES}
        return solve(self.reading, self.reading.box.thickness(fields), slopes=False).values


class _Coarse:
    """Values and power laws at few numbers; all that was solved is kept.

    Slopes are asked for where a demand is near its limit; of the others the powers last seen stand
    beside the fresh values.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem, self.bases = problem, problem.bases()
        self.mass_row = problem.reading.box.structure.mass_slope_g()
        self.solves = 0
        self._known: dict[bytes, tuple[PowerLaw, Mapping[str, float]]] = {}
        self._powers: dict[str, Floats] = {}
        self.limits = dict(problem.limits)  # those in force, corrected once the fine box is known

    def nodes(self, zones: Zones) -> Floats:
        box = self.problem.reading.box
        out = np.zeros(len(box.shell.nodes))
        for w in _PLATES:
            start = box.first_node(w)
            out[start : start + len(self.bases[w].seat)] = self.bases[w].thickness(zones[w])
        return out

    def slopes(self, zones: Zones) -> Floats:
        """d t_nodes / d (top zones, back zones), (n, 8)."""
        return zone_slopes(self.problem.reading, self.bases, zones)

    def mass_g(self, zones: Zones) -> float:
        """Mass of what is carved, g."""
        return float(self.mass_row @ self.nodes(zones))

    def at(self, zones: Zones) -> tuple[PowerLaw, Mapping[str, float]]:
        """The power law of all demands in sight of their limits, and all values."""
        key = stacked(zones).tobytes()
        if key not in self._known:
            self.solves += 1
            solved = solve(self.problem.reading, self.nodes(zones), slopes=self._asked)
            law = law_of(self.problem.reading, self.bases, zones, solved)
            self._powers |= dict(zip(law.keys, law.powers, strict=True))
            self._known[key] = self._with_older(law, solved.values), solved.values
        return self._known[key]

    def _asked(self, values: Mapping[str, float]) -> list[str]:
        """Read-outs whose slopes are wanted."""
        share = {k: values[k] / v for k, v in self.limits.items() if k in values}
        return [k for k, s in share.items() if s > (_NEAR if k in self._powers else _IN_SIGHT)]

    def _with_older(self, law: PowerLaw, values: Mapping[str, float]) -> PowerLaw:
        older = [k for k in self._powers if k not in law.keys]
        return replace(
            law,
            keys=(*law.keys, *older),
            log_values=np.append(law.log_values, np.log([values[k] for k in older])),
            powers=np.vstack([law.powers, *(self._powers[k][None] for k in older)]),
        )

    def rough(self, zones: Zones) -> Mapping[str, float]:
        """Values alone."""
        known = self._known.get(stacked(zones).tobytes())
        if known is not None:
            return known[1]
        return solve(self.problem.reading, self.nodes(zones), slopes=False).values


def stacked(zones: Zones) -> Floats:
    """Zones of top and back in one row (8,)."""
    return np.concatenate([np.asarray(zones[w], dtype=np.float64) for w in _PLATES])


def parted(zones: Floats) -> Zones:
    """(8,) -> zones by plate."""
    return {"top": zones[:4], "back": zones[4:]}


def zone_slopes(reading: Reading, bases: Mapping[PlateName, Basis], zones: Zones) -> Floats:
    """d t_nodes / d (top zones, back zones), (n, 8)."""
    box = reading.box
    out = np.zeros((len(box.shell.nodes), 8))
    for i, w in enumerate(_PLATES):
        start, rows = box.first_node(w), bases[w].slopes(zones[w])
        out[start : start + len(rows), 4 * i : 4 * i + 4] = rows
    return out


def law_of(
    reading: Reading, bases: Mapping[PlateName, Basis], zones: Zones, solved: Solved
) -> PowerLaw:
    """The power law of every demand that was solved with its slopes."""
    assert solved.slopes is not None
    through, flat = zone_slopes(reading, bases, zones), stacked(zones)
    keys = tuple(k for k in solved.slopes if solved.values[k] > 0.0)
    values = np.array([solved.values[k] for k in keys])
    rows = np.array([solved.slopes[k] for k in keys]).reshape(len(keys), len(through)) @ through
    row = reading.box.structure.mass_slope_g()
    mass = float(row @ solved.t_nodes)
    return PowerLaw(flat, keys, np.log(values), rows * flat / values[:, None], mass, row @ through)


def choose(
    coarse: Problem,
    fine: Truth,
    progress: Progress,
    families: Mapping[str, Floats] = FAMILIES,
) -> Choice:
    """The plainest map that meets all limits that any thickness can meet."""
    search = _Coarse(coarse)
    zones: Zones = {w: np.full(4, START_MM) for w in _PLATES}
    progress(0.02, "choose")
    search.at(zones)  # while the fine box may be at work elsewhere
    thick = search.rough({w: np.full(4, MOST_MM) for w in _PLATES})
    truth = fine.values(zones)
    factor = _factors(fine.limits, truth, search.at(zones)[1])
    unreachable = _unreachable(search, fine, factor, thick)
    progress(0.3, "choose")
    search.limits = {k: fine.limits[k] / f for k, f in factor.items() if k not in unreachable}
    kept, trials = _tried(search, families, zones, part(progress, 0.3, 0.75))
    progress(0.75, "choose")
    factor = _factors(fine.limits, fine.values(kept.zones), search.at(kept.zones)[1])
    search.limits = {k: fine.limits[k] / f for k, f in factor.items() if k not in unreachable}
    zones, missing = _optimised(
        search, families[kept.family], kept.zones, _NEARER_MM, part(progress, 0.85, 1.0)
    )
    final = replace(kept, zones=zones, mass_g=search.mass_g(zones), feasible=missing < 0.01)
    trials = [final if t is kept else t for t in trials]
    rounded = {w: np.ceil(zones[w] / ROUND_MM - 1e-6) * ROUND_MM for w in _PLATES}
    least = on_least(coarse, rounded)
    return Choice(kept.family, rounded, tuple(trials), None, unreachable, least)


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


def _factors(
    limits: Mapping[str, float], fine: Mapping[str, float], rough: Mapping[str, float]
) -> dict[str, float]:
    """fine over coarse for each limit."""
    return {k: fine[k] / rough[k] for k in limits if k in rough and rough[k] > 0.0}


def _tried(
    search: _Coarse,
    families: Mapping[str, Floats],
    start: Zones,
    progress: Progress,
) -> tuple[Trial, list[Trial]]:
    """The family that is taken, and all that were tried, the plainest first."""
    kept: Trial | None = None
    trials: list[Trial] = []
    for i, (name, family) in enumerate(families.items()):
        before = search.solves
        step = part(progress, i / len(families), (i + 1) / len(families))
        begin = start if kept is None else kept.zones
        zones, missing = _optimised(search, family, begin, _NEAR_MM, step)
        trial = Trial(name, zones, search.mass_g(zones), search.solves - before, missing < 0.01)
        trials.append(trial)
        better = kept is None or (trial.feasible, -trial.mass_g) > (kept.feasible, -kept.mass_g)
        worth = kept is None or trial.mass_g < (1.0 - WORTH_SHARE) * kept.mass_g
        if kept is None or (better and (worth or not kept.feasible)):
            kept = trial
        elif kept.feasible:
            break  # freer zones no longer pay
    assert kept is not None
    return kept, trials


def _optimised(
    search: _Coarse,
    family: Floats,
    start: Zones,
    near_mm: float,
    progress: Progress,
) -> tuple[Zones, float]:
    """Least mass under log(demand/limit) <= 0, by power laws drawn anew at each answer; and what
    is missing of the limits (log, 0 if nothing)."""
    wide: Floats = np.asarray(np.kron(np.eye(2), family), dtype=np.float64)
    bounds = [(b, MOST_MM) for w in _PLATES for b in least_of(search.problem.layouts[w], family)]
    begin = np.concatenate([np.linalg.lstsq(family, start[w], rcond=None)[0] for w in _PLATES])
    now = wide @ np.clip(begin, [b[0] for b in bounds], MOST_MM)
    seen: list[tuple[float, float, Floats]] = []
    for i in range(_ROUNDS):
        progress(i / _ROUNDS, "choose")
        law = search.at(parted(now))[0]
        over = max(law.over(search.limits), 0.0)
        seen.append((round(over, 3), law.mass_g, now))
        new, missing = lightest(law, wide, search.limits, bounds, _REACH * 0.7 ** max(i - 2, 0))
        if np.abs(new - now).max() < near_mm:
            return parted(new), missing
        now = new
    over, _, best = min(seen, key=lambda s: (s[0], s[1]))
    return parted(best), over


def least_of(layout: Layout, family: Floats) -> list[float]:
    """Lower bound of each free number: the greatest least thickness of the zones that it moves."""
    least = np.array([layout.least_mm] * 3 + [layout.least_channel_mm])
    return [float(least[column > 0.0].max()) for column in family.T]


def _unreachable(
    search: _Coarse, fine: Truth, factor: Mapping[str, float], thick: Mapping[str, float]
) -> tuple[str, ...]:
    """Keys that stay over their limit however thick both plates are (up to 6 mm, at 4 and at 6).

    Read from the coarse box as corrected; from the fine box where that leaves a doubt.
    """
    over: set[str] | None = None
    for t in (MOST_MM, 4.0):
        zones: Zones = {w: np.full(4, t) for w in _PLATES}
        rough = thick if t == MOST_MM else search.rough(zones)
        share = {k: rough[k] * f / fine.limits[k] for k, f in factor.items() if k in rough}
        now = {k for k, s in share.items() if s > 1.0}
        if any(
            abs(np.log(max(s, 1e-300))) < _SURE
            for k, s in share.items()
            if over is None or k in over
        ):
            now = {k for k, v in fine.values(zones).items() if v > fine.limits.get(k, np.inf)}
        over = now if over is None else over & now
        if not over:
            break
    return tuple(sorted(over or ()))


def on_least(problem: Problem, zones: Zones) -> tuple[str, ...]:
    """'top centre', ...: zones that lie on the least thickness of the file."""
    names = ("centre", "upper bout", "lower bout", "channel")
    return tuple(
        f"{w} {name}"
        for w in _PLATES
        for name, value, least in zip(
            names, zones[w], least_of(problem.layouts[w], np.eye(4)), strict=True
        )
        if value <= least + ROUND_MM
    )
