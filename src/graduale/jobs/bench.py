"""Use cases of the bench page: the shelf, a plate's state, entries taken in. Plain values out."""

import json
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np
import shapely

from graduale.base.findings import Refused, refuse
from graduale.files.entries import Sent, parsed
from graduale.files.instrument import parse_instrument
from graduale.files.workshop import WORKSHOP_NAME
from graduale.geometry.outline import outline_of
from graduale.jobs.book import MASSES_G
from graduale.jobs.desk import Desk, desk_of
from graduale.jobs.desk_state import Mode, state_of
from graduale.readings.typed import doubtful, typed_thickness
from graduale.records import events as e
from graduale.records.instrument import Instrument, PlateName
from graduale.store.book import Book, Held, open_book
from graduale.words.catalogue import say

_DESKS, _STATES = 12, 40


class Workshop:
    """The open book with the plates prepared from it; safe to use from several threads."""

    def __init__(self, path: Path) -> None:
        self.book: Book = open_book(path)
        self._lock = threading.RLock()
        self._desks: OrderedDict[tuple[str, ...], Desk] = OrderedDict()
        self._states: OrderedDict[tuple[object, ...], dict[str, Any]] = OrderedDict()

    def close(self) -> None:
        """Closes the book."""
        self.book.close()

    def shelf(self) -> list[dict[str, Any]]:
        """Every instrument, the one last worked on first: name, outline, stage, what waits."""
        return [self._told(held) for held in self.book.instruments()]

    def last_in_hand(self) -> tuple[str, PlateName] | None:
        """Instrument and plate of the last entry that names a plate and can be shown."""
        for held in self.book.instruments():
            entries = self.book.entries(held.id)
            if _last_of(entries, e.DecisionKept) is None:
                continue
            for entry in reversed(entries):
                plate = getattr(entry.what, "plate", None)
                if plate in ("top", "back"):
                    return held.id, cast("PlateName", plate)
        return None

    def count(self, instrument: str) -> int:
        """How many entries the instrument has: changes whenever something was entered."""
        return self.book.count(instrument)

    def desk(self, instrument: str, which: PlateName) -> Desk:
        """The prepared plate. Errors: Refused when the book holds no decision for it."""
        entries = self.book.entries(instrument)
        file, shop = _files_of(entries)
        decision = _last_of(entries, e.DecisionKept)
        held = self.book.instrument(instrument)
        if file is None or not isinstance(decision, e.DecisionKept):
            raise refuse("undecided", held.name, say("bench.undecided", name=held.name))
        key = (file.content, "" if shop is None else shop.content, decision.content, which)
        with self._lock:
            if key not in self._desks:
                made = self.instrument(instrument)
                assert made is not None
                document = json.loads(self.book.content(decision.content))
                self._desks[key] = desk_of(made, document, which)
                if len(self._desks) > _DESKS:
                    self._desks.popitem(last=False)
            self._desks.move_to_end(key)
            return self._desks[key]

    def stage(self, instrument: str, which: PlateName) -> str:
        """The stage that the plate is at: the last one begun, else the first."""
        begun = [
            x.what
            for x in e.standing(self.book.entries(instrument))
            if isinstance(x.what, e.StageBegun) and x.what.plate == which
        ]
        return begun[-1].stage if begun else self.desk(instrument, which).stages[0].tool

    def state(
        self, instrument: str, which: PlateName, stage: str | None, mode: Mode
    ) -> dict[str, Any]:
        """What the page shows of a plate. Errors: Refused."""
        desk, entries = self.desk(instrument, which), self.book.entries(instrument)
        used = stage or self.stage(instrument, which)
        key = (instrument, which, used, mode, len(entries), desk.document["digest"])
        with self._lock:
            if key not in self._states:
                self._states[key] = state_of(desk, entries, used, mode)
                if len(self._states) > _STATES:
                    self._states.popitem(last=False)
            return self._states[key]

    def take(self, instrument: str, items: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
        """Takes entries in, one by one; for each whether it is in the book, and if not why.

        An entry that is there already is 'kept' again, so that a page may send it twice.
        """
        held = self.book.instrument(instrument)
        with self._lock:
            return [self._one(held, item) for item in items]

    def _one(self, held: Held, item: Mapping[str, Any]) -> dict[str, Any]:
        id = str(item.get("id", ""))[:64] if isinstance(item, Mapping) else ""
        try:
            sent = parsed(item)
            entry = self._entry(held, sent)
            self.book.add([entry])
        except Refused as refused:
            told = refused.findings[0]
            return {"id": id, "kept": False, "key": told.key, "sentence": told.sentence}
        flagged = isinstance(entry.what, e.CaliperRead) and entry.what.doubtful
        return {"id": id, "kept": True, "doubtful": flagged}

    def _entry(self, held: Held, sent: Sent) -> e.Entry:
        at = sent.at_us or e.now_us()
        return e.Entry(
            sent.id, held.id, at, self._what(held, sent), sent.stage, sent.who, sent.humidity
        )

    def _what(self, held: Held, sent: Sent) -> e.What:
        match sent.kind:
            case "reading":
                return self._reading(held, sent)
            case "weight":
                return _weight(sent)
            case "note":
                return e.Noted(sent.text)
            case "stage":
                return e.StageBegun(cast("PlateName", sent.plate), sent.stage)
            case "strike":
                return e.Struck(sent.names)
            case _:
                return e.Accepted(sent.names)

    def _reading(self, held: Held, sent: Sent) -> e.What:
        which = cast("PlateName", sent.plate)
        desk = self.desk(held.id, which)
        inches = desk.instrument.workshop.units == "inch"
        found = typed_thickness(sent.typed, inches=inches)
        if found.mm is None:
            raise refuse(found.wrong, "", _wrong(found.wrong, sent.typed))
        point = np.array([[sent.x_mm, sent.y_mm]])
        if not shapely.contains_xy(desk.layout.body.outline.polygon, sent.x_mm, sent.y_mm):
            raise refuse("off-plate", "", say("bench.off_plate"))
        now = desk.standing(self.book.entries(held.id), sent.stage)
        expected = _near(now.xy, now.t_mm, point)
        flagged = doubtful(found.mm, float(desk.outside_mm(point)[0]), expected)
        return e.CaliperRead(
            which, sent.x_mm, sent.y_mm, found.mm, sent.station, flagged, sent.typed
        )

    def _told(self, held: Held) -> dict[str, Any]:
        entries = self.book.entries(held.id)
        out: dict[str, Any] = {
            "id": held.id,
            "name": held.name,
            "decided": _last_of(entries, e.DecisionKept) is not None,
            "last_us": held.last_us,
            "outline": [],
            "plates": {},
        }
        made = self.instrument(held.id)
        if made is not None:
            outline = outline_of(made.body).xy
            out["outline"] = np.round(outline[::3], 1).tolist()
        stands = e.standing(entries)
        for which in ("top", "back"):
            begun = [
                s.what.stage
                for s in stands
                if isinstance(s.what, e.StageBegun) and s.what.plate == which
            ]
            read = sum(
                1 for s in stands if isinstance(s.what, e.CaliperRead) and s.what.plate == which
            )
            out["plates"][which] = {"stage": begun[-1] if begun else "", "readings": read}
        return out

    def instrument(self, id: str) -> Instrument | None:
        """The instrument as its file in the book tells it, with the workshop's settings; None
        without a file."""
        file, shop = _files_of(self.book.entries(id))
        if file is None:
            return None
        told = None if shop is None else (self.book.content(shop.content).decode(), shop.name)
        text = self.book.content(file.content).decode()
        return parse_instrument(text, file.name, told).instrument


def _files_of(entries: Sequence[e.Entry]) -> tuple[e.FileKept | None, e.FileKept | None]:
    """The instrument file that stands, and the workshop's settings beside it."""
    file, shop = None, None
    for entry in e.standing(entries):
        if isinstance(entry.what, e.FileKept):
            if entry.what.name == WORKSHOP_NAME:
                shop = entry.what
            else:
                file = entry.what
    return file, shop


def _last_of(entries: Sequence[e.Entry], kind: type) -> e.What | None:
    found = [x.what for x in e.standing(entries) if isinstance(x.what, kind)]
    return found[-1] if found else None


def _near(xy: Any, t_mm: Any, point: Any) -> float | None:
    """Middle of the three nearest readings within 45 mm; None with fewer."""
    if len(t_mm) < 3:
        return None
    away = np.hypot(*(xy - point).T)
    three = np.argsort(away)[:3]
    return float(np.median(t_mm[three])) if away[three].max() <= 45.0 else None


def _wrong(key: str, typed: str) -> str:
    if key == "too_thin":
        return say("bench.too_thin", typed=typed)
    return say("bench.too_thick" if key == "too_thick" else "bench.no_number", typed=typed)


def _weight(sent: Sent) -> e.What:
    what = cast("e.Weighed", sent.plate)
    try:
        grams = float(sent.typed.strip().lower().removesuffix("g").replace(",", "."))
    except ValueError:
        grams = float("nan")
    low, high = MASSES_G[what]
    if not low <= grams <= high:
        raise refuse("bad-weight", "", say("bench.bad_weight", typed=sent.typed, what=what))
    return e.WeightRead(what, grams)
