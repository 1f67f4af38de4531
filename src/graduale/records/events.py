"""What happens in the workshop, as entries that are added and never changed.

A correction is a new entry that names the one it replaces; an undo is an entry that strikes
another one. What stands follows from all of them in order (`standing`).
"""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from graduale.records.instrument import PlateName

Weighed = Literal["top", "back", "bar", "body"]


@dataclass(frozen=True)
class FileKept:
    """The instrument file, or the workshop's settings (by its name), as it was; `content` is the
    digest of its text."""

    name: str
    content: str


@dataclass(frozen=True)
class DecisionKept:
    """A decision; `content` is the digest of its decision.json, `digest` the one on its sheets."""

    digest: str
    content: str


@dataclass(frozen=True)
class CaliperRead:
    """One caliper reading, mm: shortest distance to the outside at (x, y) of the inside.

    doubtful: kept out of the map until an `Accepted` names it. typed: what was typed, as typed.
    """

    plate: PlateName
    x_mm: float
    y_mm: float
    t_mm: float
    station: str = ""
    doubtful: bool = False
    typed: str = ""
    replaces: str | None = None


@dataclass(frozen=True)
class WeightRead:
    """A weight in g; what of: a plate, the bar, the whole body."""

    what: Weighed
    mass_g: float
    replaces: str | None = None


@dataclass(frozen=True)
class TonesHeard:
    """Tap tones of a free plate, Hz, in the order in which they were written."""

    plate: PlateName
    hz: tuple[float, ...]
    replaces: str | None = None


@dataclass(frozen=True)
class Noted:
    """A note of the maker."""

    text: str
    replaces: str | None = None


@dataclass(frozen=True)
class PhotoKept:
    """A photograph; `content` is the digest of its bytes."""

    name: str
    content: str
    caption: str = ""


@dataclass(frozen=True)
class StageBegun:
    """From here on the plate is worked with the tool of this stage."""

    plate: PlateName
    stage: str


@dataclass(frozen=True)
class Struck:
    """Strikes the entry `of`; striking a strike brings the entry back."""

    of: str


@dataclass(frozen=True)
class Accepted:
    """The maker says that the doubtful reading `of` is right."""

    of: str


What = (
    FileKept
    | DecisionKept
    | CaliperRead
    | WeightRead
    | TonesHeard
    | Noted
    | PhotoKept
    | StageBegun
    | Struck
    | Accepted
)

KINDS: Mapping[type, str] = {
    FileKept: "file",
    DecisionKept: "decision",
    CaliperRead: "reading",
    WeightRead: "weight",
    TonesHeard: "tones",
    Noted: "note",
    PhotoKept: "photo",
    StageBegun: "stage",
    Struck: "strike",
    Accepted: "accept",
}


def kind_of(what: What) -> str:
    """The kind's name, as in every list."""
    return KINDS[type(what)]


@dataclass(frozen=True)
class Entry:
    """One entry. `at_us`: microseconds since 1970 in UTC; `id` is made where the entry is made, so
    that one that is sent twice is kept once. humidity_percent: of the air, where it was read."""

    id: str
    instrument: str
    at_us: int
    what: What
    stage: str = ""
    who: str = ""
    humidity_percent: float | None = None

    @property
    def at(self) -> datetime:
        """The moment, in UTC."""
        return datetime.fromtimestamp(self.at_us / 1e6, UTC)


def new_id() -> str:
    """A fresh id of 32 hex digits."""
    return uuid.uuid4().hex


def now_us() -> int:
    """This moment in microseconds since 1970, UTC."""
    return int(datetime.now(UTC).timestamp() * 1e6)


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Entries that count, in their order: neither struck nor replaced; strikes themselves are left
    out. A strike or a replacement that is itself struck does nothing.

    An entry can only name one that was there before it.
    """
    in_order = list(entries)
    gone: set[str] = set()
    for entry in reversed(in_order):
        if entry.id in gone:
            continue
        aim = entry.what.of if isinstance(entry.what, Struck) else None
        aim = getattr(entry.what, "replaces", None) or aim
        if aim is not None:
            gone.add(aim)
    kept = [e for e in in_order if e.id not in gone and not isinstance(e.what, Struck)]
    return tuple(kept)


def accepted(entries: Iterable[Entry]) -> frozenset[str]:
    """Ids of doubtful readings that the maker has accepted, among entries that stand."""
    return frozenset(e.what.of for e in entries if isinstance(e.what, Accepted))
