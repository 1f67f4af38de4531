"""Is this spot dangerous: thin spots pressed as far as they may reach, against the reference."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from graduale.box.anywhere import LocalPress, local_presses
from graduale.box.plate import ThicknessAt
from graduale.box.readouts import Reading
from graduale.box.spots import Spot, place_name
from graduale.jobs.judge_known import KnownPlate
from graduale.jobs.reference import PLATES, Reference
from graduale.readings.map import Pinned, PlateMap
from graduale.readings.thin import ThinSpot, thin_spots
from graduale.records.instrument import PlateName
from graduale.thickness.field import Layout

Words = Literal[
    "live with it",
    "live with it; take no more here",
    "take no more here; it holds, but not with your margin",
    "measure around it, take no more here; if it reaches this far, patch it",
    "patch it",
]
WORDS: tuple[Words, ...] = get_args(Words)
MOST_SPOTS = 8  # judged a plate; more thin readings are no spots but a thin plate


@dataclass(frozen=True, eq=False)
class SpotVerdict:
    """A thin spot and what to do about it.

    press: were it as thin as its reading for as far as the readings around allow; half: for half
    of that.
    """

    spot: ThinSpot
    press: LocalPress
    half: LocalPress
    words: Words

    @property
    def holds(self) -> bool:
        """However far it reaches, it holds, be it without the margin."""
        return self.words in (WORDS[0], WORDS[1], WORDS[2])


def thin_verdicts(
    reading: Reading,
    found: Mapping[PlateName, KnownPlate],
    layouts: Mapping[PlateName, Layout],
    known: Reference,
    margin: float,
) -> dict[PlateName, tuple[tuple[SpotVerdict, ...], int]]:
    """Thin spots of both plates with their verdicts, and how many more there are."""
    spots: dict[PlateName, tuple[ThinSpot, ...]] = dict.fromkeys(PLATES, ())
    for which in PLATES:
        now, made, floor = found[which].readings, found[which].map, found[which].floor
        if now is not None and made is not None:
            low = None if floor is None else floor(now.xy)
            spots[which] = thin_spots(now, layouts[which], made.expected(now.xy), low)
    kept = {w: spots[w][:MOST_SPOTS] for w in PLATES}
    presses = [iter(_pressed(reading, found, kept, known, margin, s)) for s in (1.0, 0.5)]
    out = {}
    for which in PLATES:
        verdicts = []
        for spot in kept[which]:
            full, half = (next(p) for p in presses)
            verdicts.append(SpotVerdict(spot, full, half, words_of(spot, full, half, margin)))
        out[which] = tuple(verdicts), len(spots[which]) - len(kept[which])
    return out


def _pressed(
    reading: Reading,
    found: Mapping[PlateName, KnownPlate],
    spots: Mapping[PlateName, tuple[ThinSpot, ...]],
    known: Reference,
    margin: float,
    share: float,
) -> tuple[LocalPress, ...]:
    """Presses with every spot held at its reading for a share of its reach."""
    places = tuple(_spot(reading, s) for w in PLATES for s in spots[w])
    reach = np.array([share * s.reach_mm for w in PLATES for s in spots[w]])
    pinned = {w: _pinned(found[w].rule, spots[w], share) for w in PLATES}
    smooth = {w: found[w].rule if m is None else m.expected for w, m in _maps(found).items()}
    box = reading.box
    return local_presses(
        reading, box.thickness(pinned), box.thickness(smooth), places, reach, known.band, margin
    )


def _maps(found: Mapping[PlateName, KnownPlate]) -> dict[PlateName, PlateMap | None]:
    return {w: found[w].map for w in PLATES}


def _pinned(rule: ThicknessAt, spots: tuple[ThinSpot, ...], share: float) -> Pinned:
    places = np.array([[s.x_mm, s.y_mm] for s in spots]).reshape(-1, 2)
    t, reach = (np.array([getattr(s, n) for s in spots]) for n in ("t_mm", "reach_mm"))
    return Pinned(rule, places, t, share * reach)


def _spot(reading: Reading, thin: ThinSpot) -> Spot:
    body = reading.box.instrument.body
    corners = (body.lower_corner_at_mm, body.upper_corner_at_mm)
    outline = reading.box.plates[thin.plate].body.outline
    name = place_name(outline, corners, (thin.x_mm, thin.y_mm))
    return Spot("press here", name, thin.plate, thin.x_mm, thin.y_mm)


def words_of(spot: ThinSpot, full: LocalPress, half: LocalPress, margin: float) -> Words:
    """What to do: by the press at the spot, far and near, with and without the margin."""
    if half.reserve * (1.0 + margin) < 1.0:
        return WORDS[4]
    if full.reserve * (1.0 + margin) < 1.0:
        return WORDS[3]
    if full.reserve < 1.0:
        return WORDS[2]
    return WORDS[1] if spot.below_least or spot.below_floor else WORDS[0]
