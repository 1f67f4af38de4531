"""The use cases of the workshop book: bring in, enter, list, show, copy, hand over."""

import calendar
import time
from collections.abc import Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

from graduale.base.findings import refuse
from graduale.base.settings import settings
from graduale.files.disk import read_text
from graduale.files.history import History, folder_of, history_of
from graduale.files.instrument import workshop_for
from graduale.files.readings import load_readings
from graduale.files.workshop import WORKSHOP_NAME
from graduale.jobs import check
from graduale.jobs.earlier import read_earlier
from graduale.jobs.result import DONE, JobResult
from graduale.records import events as e
from graduale.records.instrument import PlateName
from graduale.store.book import Book, Held, digest_of, open_book, set_aside
from graduale.store.out import write_folder
from graduale.words.catalogue import say

MOST_PHOTO_BYTES = 30_000_000
MASSES_G: Mapping[e.Weighed, tuple[float, float]] = {
    "top": (3.0, 1500.0),
    "back": (3.0, 2000.0),
    "bar": (0.2, 100.0),
    "body": (20.0, 6000.0),
}
PLATES: tuple[PlateName, PlateName] = ("top", "back")


def place(given: Path | None) -> Path:
    """The book's file: as named, else GRADUALE_BOOK, else in the maker's own data folder."""
    return settings().book_file if given is None else given


def add(at: Path | None, instrument: Path, decision: Path | None) -> JobResult:
    """Brings an instrument file into the book, or a changed one of an instrument that is there;
    the workshop's settings that go with it are kept beside it; with `decision` the folder of its
    decision too."""
    name, kept = check.sound(instrument).name, [_file(instrument, instrument.name)]
    shop = workshop_for(instrument)
    if shop is not None:
        kept.append(_file(shop, WORKSHOP_NAME))
    if decision is not None:
        kept.append(_decision(decision, name))
    with open_book(place(at)) as book:
        same = [h for h in book.instruments() if h.name == name]
        one = same[0].id if same else e.new_id()
        if not same:
            book.begin(one, name, e.now_us())
        known = {getattr(x.what, "content", None) for x in book.entries(one)}
        fresh = [(what, c) for what, c in kept if getattr(what, "content", "") not in known]
        entries = [e.Entry(e.new_id(), one, e.now_us(), what) for what, _ in fresh]
        added = book.add(entries, {digest_of(c): c for _, c in fresh})
    told = say("book.kept", name=name, count=str(added))
    answer = told if added else say("book.kept_already", name=name)
    return JobResult(DONE, answer, {"id": one, "added": added})


def _file(path: Path, name: str) -> tuple[e.What, bytes]:
    text = read_text(path).encode()
    return e.FileKept(name, digest_of(text)), text


def _decision(folder: Path, name: str) -> tuple[e.What, bytes]:
    earlier = read_earlier(folder)
    if earlier.instrument.name != name:
        sentence = say("book.other_decision", name=earlier.instrument.name)
        raise refuse("other-decision", str(folder), sentence)
    content = (folder / "decision.json").read_bytes()
    return e.DecisionKept(str(earlier.document["digest"]), digest_of(content)), content


def listing(at: Path | None) -> JobResult:
    """All instruments, the one last worked on first."""
    with open_book(place(at), write=False) as book:
        every = book.instruments()
    rows = [
        say(
            "book.line",
            name=h.name,
            count=str(h.entries),
            last=_day(h.last_us if h.last_us is not None else h.made_us),
        )
        for h in every
    ]
    text = "\n".join(rows) if rows else say("book.empty")
    return JobResult(DONE, text, {"instruments": [vars(h) for h in every]})


def show(at: Path | None, name: str) -> JobResult:
    """One instrument: what stands, and everything that was ever entered."""
    with open_book(place(at), write=False) as book:
        held = book.instrument(name)
        entries = book.entries(held.id)
    stands = {s.id for s in e.standing(entries)}
    right = e.accepted(e.standing(entries))
    lines = [say("book.line", name=held.name, count=str(len(entries)), last=_day(held.made_us))]
    lines += [_told(x, struck=x.id not in stands, right=right) for x in entries]
    lines.append(say("book.next", name=held.name))
    document = {
        "id": held.id,
        "name": held.name,
        "entries": [entry_document(x, stands=x.id in stands) for x in entries],
    }
    return JobResult(DONE, "\n".join(lines), document)


def entry_document(entry: e.Entry, *, stands: bool) -> dict[str, Any]:
    """An entry as plain values."""
    own = {k: list(v) if isinstance(v, tuple) else v for k, v in vars(entry.what).items()}
    return {
        "id": entry.id,
        "at": entry.at.isoformat(),
        "kind": e.kind_of(entry.what),
        "stage": entry.stage,
        "who": entry.who,
        "humidity_percent": entry.humidity_percent,
        "stands": stands,
        **own,
    }


def read(at: Path | None, name: str, readings: Path) -> JobResult:
    """Takes a file of readings in. The same file again adds nothing."""
    given = load_readings(readings)
    with open_book(place(at)) as book:
        held = book.instrument(name)
        now, seen, entries = e.now_us(), dict[str, int](), []
        for i, plate in enumerate(given.plate):
            x, y, t = (float(v[i]) for v in (given.x_mm, given.y_mm, given.t_mm))
            told = repr((held.id, plate, x, y, t, given.stage[i], given.when[i], given.note[i]))
            seen[told] = seen.get(told, 0) + 1  # the same reading twice in a file counts twice
            id = sha256(f"{told} {seen[told]}".encode()).hexdigest()[:32]
            which: PlateName = "top" if plate == "top" else "back"
            what = e.CaliperRead(which, x, y, t, given.note[i], given.doubtful[i], f"{t:g}")
            entries.append(e.Entry(id, held.id, _moment(given.when[i], now), what, given.stage[i]))
        added = book.add(entries)
    doubts = [f.line() for f in given.findings]
    text = "\n".join([say("book.read", name=held.name, count=str(added)), *doubts])
    return JobResult(DONE, text, {"added": added, "given": len(entries), "doubtful": doubts})


def weigh(
    at: Path | None, name: str, what: e.Weighed, mass_g: float, stage: str, humidity: float | None
) -> JobResult:
    """Enters a weight."""
    low, high = MASSES_G[what]
    if not low <= mass_g <= high:
        sentence = say("book.bad_mass", what=what, mass=f"{mass_g:g} g", low=low, high=high)
        raise refuse("impossible-mass", "mass", sentence)
    if humidity is not None and not 0.0 <= humidity <= 100.0:
        raise refuse("impossible-humidity", "humidity", say("book.bad_humidity"))
    return _enter(at, name, e.WeightRead(what, mass_g), stage=stage, humidity=humidity)


def note(at: Path | None, name: str, text: str) -> JobResult:
    """Enters a note."""
    if not text.strip() or len(text) > 20_000:
        raise refuse("empty-note", "note", say("book.bad_note"))
    return _enter(at, name, e.Noted(text.strip()))


def photo(at: Path | None, name: str, path: Path, caption: str) -> JobResult:
    """Keeps a photograph in the book."""
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= MOST_PHOTO_BYTES else b""
    except OSError as wrong:
        reason = (wrong.strerror or "unreadable").lower()
        raise refuse("no-photo", str(path), say("book.no_photo", cause=reason)) from None
    if not content:
        limit = f"{MOST_PHOTO_BYTES / 1e6:.0f} MB"
        raise refuse("bad-photo", str(path), say("book.bad_photo", limit=limit))
    what = e.PhotoKept(path.name, digest_of(content), caption)
    return _enter(at, name, what, contents={what.content: content})


def strike(at: Path | None, name: str, id: str | None) -> JobResult:
    """Strikes an entry (by the beginning of its id), or the last one that stands; striking a strike
    brings back what it struck."""
    with open_book(place(at)) as book:
        held = book.instrument(name)
        entries = book.entries(held.id)
        aim = _aim(entries, id, held)
        one = e.Entry(e.new_id(), held.id, e.now_us(), e.Struck(aim.id))
        book.add([one])
    told = _told(aim, struck=True, right=frozenset())
    return JobResult(DONE, say("book.struck", what=told.strip()), {"id": one.id, "of": aim.id})


def _aim(entries: Sequence[e.Entry], id: str | None, held: Held) -> e.Entry:
    if id is None:
        found = list(e.standing(entries))[-1:]
    else:
        found = [x for x in entries if x.id.startswith(id.lower())] if len(id) >= 6 else []
    if len(found) != 1:
        raise refuse("no-such-entry", held.name, say("book.no_such_entry", id=id or ""))
    return found[0]


def copy(at: Path | None, target: Path) -> JobResult:
    """Copies the whole book while it stays in use; the copy is opened and checked."""
    if target.exists():
        raise refuse("file-exists", str(target), say("store.foreign_here"))
    with open_book(place(at), write=False) as book:
        book.copy_to(target)
    with open_book(target, write=False) as made:
        _sound(made)
        count = len(made.instruments())
    return JobResult(DONE, say("book.copied", file=str(target), count=str(count)))


def restore(at: Path | None, source: Path) -> JobResult:
    """Puts a checked copy in the book's place; what was there is set aside beside it."""
    where = place(at)
    with open_book(source, write=False) as copied:
        _sound(copied)
        if where.exists():
            aside = where.with_name(f"{where.name}.set-aside-{time.strftime('%Y%m%d-%H%M%S')}")
            set_aside(where, aside)
        copied.copy_to(where)
        count = len(copied.instruments())
    return JobResult(DONE, say("book.restored", file=str(source), count=str(count)))


def _sound(book: Book) -> None:
    if book.faults():
        raise refuse("book-damaged", str(book.path), say("book.damaged"))


def export(at: Path | None, name: str, out: Path) -> JobResult:
    """Writes one instrument as a readable folder."""
    with open_book(place(at), write=False) as book:
        history = history_in(book, book.instrument(name))
    write_folder(out, folder_of(history))
    return JobResult(DONE, say("book.exported", name=history.name, folder=str(out)))


def history_in(book: Book, held: Held) -> History:
    """An instrument of the book with everything it has."""
    entries = book.entries(held.id)
    wanted = {str(c) for x in entries if (c := getattr(x.what, "content", None)) is not None}
    contents = {digest: book.content(digest) for digest in sorted(wanted)}
    return History(held.id, held.name, held.made_us, entries, contents)


def take_in(at: Path | None, folder: Path) -> JobResult:
    """Takes an exported folder in; entries that are there already are passed over."""
    if not folder.is_dir():
        raise refuse("no-folder", str(folder), say("book.no_folder"))
    files = {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.stat().st_size <= 4 * MOST_PHOTO_BYTES
    }
    history = history_of(files, str(folder))
    with open_book(place(at)) as book:
        book.begin(history.id, history.name, history.made_us)
        added = book.add(history.entries, history.contents)
    text = say("book.taken_in", name=history.name, count=str(added))
    return JobResult(DONE, text, {"id": history.id, "added": added})


def _enter(
    at: Path | None,
    name: str,
    what: e.What,
    *,
    stage: str = "",
    humidity: float | None = None,
    contents: Mapping[str, bytes] | None = None,
) -> JobResult:
    with open_book(place(at)) as book:
        held = book.instrument(name)
        one = e.Entry(e.new_id(), held.id, e.now_us(), what, stage, "", humidity)
        book.add([one], contents)
    told = _told(one, struck=False, right=frozenset())
    return JobResult(DONE, say("book.entered", what=told.strip()), {"id": one.id})


def _told(entry: e.Entry, *, struck: bool, right: frozenset[str]) -> str:
    """An entry as one line."""
    what = entry.what
    match what:
        case e.CaliperRead():
            text = say("book.reading", plate=what.plate, t=what.t_mm, x=what.x_mm, y=what.y_mm)
            if what.doubtful and entry.id not in right:
                text += "  " + say("book.doubtful")
        case e.WeightRead():
            text = say("book.weight", what=what.what, mass=f"{what.mass_g:g}")
        case e.TonesHeard():
            heard = ", ".join(f"{t:g}" for t in what.hz)
            text = say("book.tones", plate=what.plate, tones=heard)
        case e.Noted():
            text = what.text
        case e.FileKept():
            text = say("book.file", name=what.name)
        case e.DecisionKept():
            text = say("book.decision", digest=what.digest)
        case e.PhotoKept():
            text = say("book.photo", name=what.name, caption=what.caption)
        case e.StageBegun():
            text = say("book.stage", plate=what.plate, stage=what.stage)
        case e.Struck():
            text = say("book.strike", id=what.of[:8])
        case e.Accepted():
            text = say("book.accept", id=what.of[:8])
    mark = "  " + say("book.mark_struck") if struck and not isinstance(what, e.Struck) else ""
    return f"{entry.id[:8]}  {entry.at:%Y-%m-%d %H:%M}  {text}{mark}"


def _day(at_us: int) -> str:
    return f"{e.Entry('', '', at_us, e.Noted('')).at:%Y-%m-%d}"


def _moment(when: str, otherwise: int) -> int:
    """The day that a reading names, at noon UTC; the moment of taking it in where it names none."""
    try:
        day = time.strptime(when[:10], "%Y-%m-%d")
    except ValueError:
        return otherwise
    return calendar.timegm(day) * 10**6 + 12 * 3600 * 10**6
