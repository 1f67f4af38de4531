"""Three verdicts and one guard: demand against the reference band, spot by spot.

ratio = demand over that of the average reference at the same spot and case (above 1 is worse);
band = least and greatest of the reference set; limit = greatest / (1 + margin), times what the
wanted confidence leaves of it; reserve = limit / ratio.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from graduale.box.readouts import Probe, Punch, Reading, Solved
from graduale.records.instrument import PlateName

Kind = Literal["across", "local", "lengthwise"]
K_DEF = 0.8  # EN 1995-1-1 table 3.2, class 2; shown with 0.6 to 2.0
BUCKLING_FLOOR = 6.0
QUIET_SHARE = 0.5
SAG_SHARE = 0.08  # of the arch height after years, where no violin is a reference [own]


@dataclass(frozen=True, eq=False)
class Band:
    """The reference set: values of each member by key; members 'average', 'thin', 'thick', ....

    sure: by key, the factor on the limit that the wanted confidence asks for; 1 where none is
    given.
    """

    members: Mapping[str, Mapping[str, float]]
    sure: Mapping[str, float] = field(default_factory=dict)

    def limit(self, key: str, margin: float) -> float | None:
        """Greatest allowed ratio; None when a member lacks the key."""
        ratios = self.ratios(key)
        return None if ratios is None else ratios[1] * self.sure.get(key, 1.0) / (1.0 + margin)

    def average(self, key: str) -> float | None:
        """Value of the average member."""
        return self.members["average"].get(key)

    def yard(self, key: str) -> float | None:
        """The demand that counts as ratio 1: the average member's at the same spot."""
        return self.borne("average", key)

    def borne(self, member: str, key: str) -> float | None:
        """What a member proves at a spot.

        Face stress under the strings at a spot that this violin hardly stresses counts as half of
        the most that its strings do anywhere on that plate [own]: the wood there is proven
        elsewhere on the same plate, and ratios of next to nothing decide nothing. The rule is the
        same for every member.
        """
        values = self.members[member]
        own = values.get(key)
        if own is None or not _strung_face(key):
            return own
        plate = key.partition(":")[0]
        peers = [v for k, v in values.items() if _strung_face(k) and k.startswith(plate)]
        return max(own, QUIET_SHARE * max(peers))

    def ratios(self, key: str) -> tuple[float, float] | None:
        """Least and greatest ratio to the average over the set; None when a member lacks the
        key."""
        base = self.yard(key)
        values = [self.borne(name, key) for name in self.members]
        if base is None or base <= 0.0 or any(v is None for v in values):
            return None
        shares = [v / base for v in values if v is not None]
        return min(shares), max(shares)


def _strung_face(key: str) -> bool:
    """A stress on a face under the strings."""
    return ": " in key and ": press" not in key and not key.endswith("shear")


@dataclass(frozen=True)
class Judged:
    """One verdict at one place. `plate` None: the whole body. demand in its own unit."""

    key: str
    kind: Kind
    plate: PlateName | None
    place: str
    x_mm: float | None
    y_mm: float | None
    demand: float
    ratio: float
    band: tuple[float, float]
    limit: float
    reserve: float

    @property
    def passes(self) -> bool:
        """Within the limit."""
        return self.reserve >= 1.0


def kind_of(key: str) -> Kind | None:
    """Which verdict a read-out belongs to; None when it is only shown."""
    if key in ("across top", "across back", "sag share"):
        return "across"
    if key == "lengthwise":
        return "lengthwise"
    return "local" if ": " in key else None


def limits(reading: Reading, band: Band, margin: float) -> dict[str, float]:
    """Greatest allowed demand of every gated read-out at this margin (demand units).

    Where post or bar are missing no violin is a reference for stiffness at the feet: the sag after
    years over the arch height takes its place.
    """
    out: dict[str, float] = {}
    unreferenced = not (reading.box.instrument.post.present and reading.box.instrument.bar.present)
    for key in reading.keys:
        if kind_of(key) is None or key == "sag share":
            continue
        if unreferenced and key.startswith("across"):
            continue
        base, limit = band.yard(key), band.limit(key, margin)
        if base is not None and limit is not None:
            out[key] = base * limit
    if unreferenced:
        sure = band.sure.get("sag share", 1.0)
        out["sag share"] = SAG_SHARE * sure / (1.0 + margin) / (1.0 + K_DEF)
    return out


def judge(reading: Reading, solved: Solved, band: Band, margin: float) -> tuple[Judged, ...]:
    """All gated verdicts of one solved box, the tightest first."""
    values = solved.values
    probes: dict[str, Probe | Punch] = {p.key: p for p in reading.probes}
    probes |= {p.key: p for p in reading.punches}
    out = []
    for key, limit in limits(reading, band, margin).items():
        base, ratios = band.yard(key), band.ratios(key)
        if key == "sag share" or base is None or ratios is None:
            base, ratios = SAG_SHARE / (1.0 + K_DEF), (0.0, 1.0)
        ratio = values[key] / base
        reserve = limit / max(values[key], 1e-300)
        plate, place, x, y = _place(reading, key, probes.get(key), solved.faces)
        kind = kind_of(key)
        if kind is not None:
            out.append(
                Judged(
                    key, kind, plate, place, x, y, values[key], ratio, ratios, limit / base, reserve
                )
            )
    return tuple(sorted(out, key=lambda j: (j.reserve, j.key)))


def _place(
    reading: Reading, key: str, probe: Probe | Punch | None, faces: Mapping[str, str]
) -> tuple[PlateName | None, str, float | None, float | None]:
    inst = reading.box.instrument
    if probe is not None:
        load = "a press of 50 N" if ": press" in key else "strings"
        face = f"{faces[key]} face" if key in faces else "shear through the thickness"
        place = f"{probe.name}, {face}, {load}"
        return probe.plate, place, probe.spot.x_mm, probe.spot.y_mm
    if key == "across back":
        return "back", "at the post", inst.post.x_mm, inst.post.y_mm
    if key in ("across top", "sag share"):
        middle = 0.5 * (inst.bridge.bass_foot_y_mm + inst.bridge.treble_foot_y_mm)
        return "top", "under the bridge feet", inst.bridge.x_mm, middle
    return None, "whole body, between the end blocks", None, None


def worst(judged: tuple[Judged, ...], plate: PlateName, kind: Kind) -> Judged | None:
    """The tightest verdict of one kind for a plate; lengthwise is the box's, repeated under
    both."""
    for one in judged:
        if one.kind == kind and one.plate in (plate, None):
            return one
    return None
