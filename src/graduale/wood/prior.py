"""What is known of a board before it is tapped: log-normal, correlated, from table or board.

Logarithms of density, six moduli and the Poisson ratio LR. Three things tie them together: moduli
rise with density (powers of FPL-GTR-190 table 5-11, from memory); ET and GRT go with ER, GLT with
GLR, but for the scatter of their ratios; the rest is each modulus's own. ER and GLR are not tied to
EL beyond density: of published European spruce (Jansson 2002; two measured plates of Badiane et
al.; Keunecke et al., from memory) the logarithm of ER/EL scatters by 0.35, that of ER alone by
0.21; of GLR/EL by 0.18, of GLR alone by 0.14.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from graduale.base.arrays import Floats, freeze
from graduale.records.instrument import Provenance, WoodChoice
from graduale.wood.material import Wood
from graduale.wood.species import MODULI

NAMES = ("density", *MODULI, "nu_LR")
LEADER = {"ET": "ER", "GRT": "ER", "GLT": "GLR"}
RATIO_SPREAD = {"ET": 0.12, "GRT": 0.20, "GLT": 0.12}  # of a follower over its leader [no source]
POISSON_SPREAD = 0.10  # of nu_LR [no source]; one deviation of the handbook's species is 0.15
POWER = 0.8  # of density in a modulus: 0.84 softwoods, 0.70 hardwoods (table 5-11, from memory)
_FIELDS = ("density_kg_m3", "el", "er", "et", "glr", "glt", "grt", "nu_lr")


@dataclass(frozen=True, eq=False)
class Prior:
    """Mean (8,) and covariance (8, 8) of the natural logarithms, in the order of NAMES."""

    mean: Floats
    covariance: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "mean", freeze(self.mean, (len(NAMES),)))
        object.__setattr__(self, "covariance", freeze(self.covariance, (len(NAMES), len(NAMES))))

    @property
    def spread(self) -> Floats:
        """One deviation (8,) of each logarithm: the relative spread."""
        out: Floats = np.sqrt(np.diag(self.covariance))
        return out


def logs_of(wood: Wood) -> Floats:
    """Logarithms (8,) of a wood's numbers in the order of NAMES."""
    return np.log([getattr(wood, name) for name in _FIELDS])


def wood_at(wood: Wood, logs: Floats) -> Wood:
    """The wood with the numbers of `logs` (8,); strength and all else stay."""
    density, el, er, et, glr, glt, grt, nu_lr = (float(v) for v in np.exp(logs))
    return replace(
        wood,
        density_kg_m3=density,
        el=el,
        er=er,
        et=et,
        glr=glr,
        glt=glt,
        grt=grt,
        nu_lr=nu_lr,
    )


def as_told(wood: Wood, choice: WoodChoice, known: Mapping[str, Provenance], where: str) -> Wood:
    """The wood with the spreads that the file tells of density and moduli typed outright.

    known: provenance by dotted key; where: 'top.wood'.
    """
    typed = {f"moduli.{name}": value for name, value in choice.moduli_mpa.items()}
    if choice.density_kg_m3 is not None:
        typed["density"] = choice.density_kg_m3
    told = {}
    for key, value in typed.items():
        source = known.get(f"{where}.{key}")
        if source is not None and source.spread:
            told[key.removeprefix("moduli.")] = source.spread / value
    return replace(wood, spread=MappingProxyType({**wood.spread, **told}))


def prior_of(wood: Wood) -> Prior:
    """The prior that a wood's means and spreads give (`Wood.spread`, relative deviations).

    A spread is split into what density explains, what the leader carries, and the rest; a follower
    is never carried by more than its leader's own doubt.
    """
    size = len(NAMES)
    loads = np.zeros((size, size))  # rows NAMES; columns: own independent causes
    loads[0, 0] = wood.spread["density"]
    loads[-1, -1] = POISSON_SPREAD
    for name in sorted(MODULI, key=lambda n: n in LEADER):
        row = NAMES.index(name)
        total = wood.spread[name]
        loads[row, 0] = min(POWER * wood.spread["density"], 0.9 * total)
        rest = math.sqrt(total**2 - loads[row, 0] ** 2)
        if name in LEADER:
            lead = NAMES.index(LEADER[name])
            carried = math.sqrt(max(rest**2 - RATIO_SPREAD[name] ** 2, 0.0))
            loads[row, lead] = min(carried, loads[lead, lead])
            rest = math.sqrt(rest**2 - loads[row, lead] ** 2)
        loads[row, row] = rest
    return Prior(logs_of(wood), loads @ loads.T)
