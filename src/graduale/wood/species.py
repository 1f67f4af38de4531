"""The species table: mean, spread and source of every row (`data/species.toml`)."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from graduale.base.findings import refuse
from graduale.base.tables import Table, table
from graduale.wood.limits import Strength

MODULI = ("EL", "ER", "ET", "GLR", "GLT", "GRT")
POISSON = ("LR", "LT", "RT")
STRENGTHS = ("mor", "comp_along", "tens_across", "comp_across", "shear_along", "rolling_shear")
ROLLING_RATIO = 0.23  # of shear along the grain (0.18-0.28), from memory

# Everyday names that a maker would type.
_ALIASES = {
    "spruce": "european_spruce",
    "norway_spruce": "european_spruce",
    "maple": "sycamore_maple",
    "european_maple": "sycamore_maple",
    "sycamore": "sycamore_maple",
    "poplar": "yellow_poplar",
    "walnut": "black_walnut",
    "cherry": "black_cherry",
    "birch": "yellow_birch",
}


@dataclass(frozen=True)
class Species:
    """One row: kg/m3, MPa, strains per percent of moisture; `spread` is relative, one deviation."""

    key: str
    name: str
    softwood: bool
    density_kg_m3: float
    moduli_mpa: Mapping[str, float]  # EL ER ET GLR GLT GRT
    poisson: Mapping[str, float]  # LR LT RT
    strength: Strength
    exponent: Mapping[str, float]  # power of density: 'E' and the names of strengths
    shrink_per_percent: tuple[float, float, float]  # L R T, strain per % of moisture
    moisture_ratio: float  # modulus at 12 % over modulus of green wood
    moisture_intersection_percent: float
    spread: Mapping[str, float]
    source: str
    assumed: str


def _table() -> Table:
    return table("graduale.wood", "species")


def species_keys() -> tuple[str, ...]:
    """All keys of the table, sorted."""
    return tuple(sorted(_table()["species"]))


def species_key(name: str) -> str:
    """The table's key for a name as typed ('Sitka spruce', 'maple'). Refused when unknown."""
    key = name.strip().lower().replace(" ", "_").replace("-", "_")
    key = _ALIASES.get(key, key)
    if key not in _table()["species"]:
        raise refuse(
            "unknown-species",
            "wood",
            f"the species '{name}' is not in the wood table; take one of: "
            + ", ".join(species_keys())
            + ".",
        )
    return key


@cache
def species(key: str) -> Species:
    """The row for `key` (or an everyday name). Refused when unknown."""
    name = species_key(key)
    content = _table()
    row = content["species"][name]
    el = float(row["EL"])
    ratio = row["ratio"]
    moduli = {"EL": el} | {m: el * float(ratio[m]) for m in MODULI[1:]}
    given = {k: float(v) for k, v in row["strength"].items()}
    given["rolling_shear"] = ROLLING_RATIO * given["shear_along"]
    spread = {k: float(v) for k, v in content["spread"].items() if k != "source"}
    spread |= {k: float(v) for k, v in row["spread"].items()}
    exponent = content["exponent"][row["kind"]]
    return Species(
        key=name,
        name=str(row["name"]),
        softwood=row["kind"] == "soft",
        density_kg_m3=float(row["density"]),
        moduli_mpa=MappingProxyType(moduli),
        poisson=MappingProxyType({p: float(ratio[f"nu_{p}"]) for p in POISSON}),
        strength=Strength(**given),
        exponent=MappingProxyType({k: float(v) for k, v in exponent.items() if k != "source"}),
        shrink_per_percent=_shrink(row["shrink"]),
        moisture_ratio=float(row["moisture"]["mpa_12"]) / float(row["moisture"]["green_mpa"]),
        moisture_intersection_percent=float(row["moisture"]["intersection_percent"]),
        spread=MappingProxyType(spread),
        source=str(row["source"]),
        assumed=str(row["assumed"]),
    )


def _shrink(row: Mapping[str, float]) -> tuple[float, float, float]:
    """Strain per percent of moisture, from % between green (30 %) and oven-dry.

    Along the grain 0.1 % in all (Wood Handbook chapter 4: 0.1 to 0.2 %).
    """
    return (0.001 / 30.0, float(row["R"]) / 100.0 / 30.0, float(row["T"]) / 100.0 / 30.0)
