"""The workshop book: one SQLite file that holds every instrument; entries are added, never changed.

Write-ahead log with a full flush at every commit: what `add` has returned from is on the disk.
Several programs may have the book open; a writer waits for another for some seconds. This is the
only place that knows SQLite.
"""

import contextlib
import hashlib
import os
import sqlite3
import threading
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from graduale.base.findings import Refused, refuse
from graduale.records.events import Entry
from graduale.store.migrations import APPLICATION_ID, MIGRATIONS, Migration
from graduale.store.rows import COLUMNS, entry_of, row_of
from graduale.words.catalogue import say

_WAIT_S = 10.0
_FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_FSYNC}
_FULL |= {sqlite3.SQLITE_IOERR_TRUNCATE, sqlite3.SQLITE_IOERR_SHMSIZE}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_BUSY_SNAPSHOT}
_SHUT = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM}


@dataclass(frozen=True)
class Held:
    """An instrument of the book; `last_us`: its last entry, None when it has none."""

    id: str
    name: str
    made_us: int
    entries: int
    last_us: int | None


class Book:
    """An open book. Use as a context manager, or close it. Safe to use from several threads."""

    def __init__(self, path: Path, connection: sqlite3.Connection, *, writable: bool) -> None:
        self.path, self.writable = path, writable
        self._connection, self._lock = connection, threading.RLock()

    def __enter__(self) -> "Book":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file; nothing is lost without it."""
        with self._lock:
            self._connection.close()

    @property
    def version(self) -> int:
        """Version of the tables."""
        return _number(self._connection, "user_version")

    def instruments(self) -> tuple[Held, ...]:
        """All instruments, the one last worked on first."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT i.id, i.name, i.made_us, count(e.seq), max(e.at_us) FROM instrument i "
                "LEFT JOIN entry e ON e.instrument = i.id GROUP BY i.id "
                "ORDER BY max(e.seq) DESC, i.made_us DESC, i.id"
            ).fetchall()
        return tuple(Held(*row) for row in rows)

    def instrument(self, name: str) -> Held:
        """The instrument of this name or id. Errors: Refused when none or several have it."""
        every = self.instruments()
        found = [h for h in every if name in (h.id, h.name)]
        if len(found) == 1:
            return found[0]
        if found:
            raise refuse("two-of-a-name", str(self.path), say("book.two_of_a_name", name=name))
        names = ", ".join(h.name for h in every[:12]) or say("book.none_yet")
        raise refuse("not-in-book", str(self.path), say("book.not_in_book", name=name, names=names))

    def begin(self, id: str, name: str, at_us: int) -> None:
        """A new instrument; the same id again changes nothing. Errors: Refused."""
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO instrument(id, name, made_us) VALUES (?, ?, ?) "
                "ON CONFLICT(id) DO NOTHING",
                (id, name, at_us),
            )

    def add(self, entries: Sequence[Entry], contents: Mapping[str, bytes] | None = None) -> int:
        """Adds all entries or none, with the contents that they name; how many were new.

        An entry whose id is there already is passed over, so that sending twice does no harm.
        Errors: Refused (disk full, read-only, busy, an entry that names nothing in the book).
        """
        kept = (contents or {}).items()
        with self._writing() as connection:
            connection.executemany(
                "INSERT INTO content(digest, packed, bytes) VALUES (?, ?, ?) "
                "ON CONFLICT(digest) DO NOTHING",
                [(digest, *_packed(content)) for digest, content in kept],
            )
            before = connection.total_changes
            connection.executemany(
                f"INSERT INTO entry({', '.join(COLUMNS)}) VALUES "
                f"({', '.join(':' + c for c in COLUMNS)}) ON CONFLICT(id) DO NOTHING",
                [row_of(entry) for entry in entries],
            )
            return connection.total_changes - before

    def entries(self, instrument: str, after: int = 0) -> tuple[Entry, ...]:
        """All entries of the instrument's id, in the order in which they were added; with `after`
        only those beyond that many."""
        with self._reading() as connection:
            rows = connection.execute(
                f"SELECT {', '.join(COLUMNS)} FROM entry WHERE instrument = ? ORDER BY seq "
                "LIMIT -1 OFFSET ?",
                (instrument, after),
            ).fetchall()
        return tuple(entry_of(dict(zip(COLUMNS, row, strict=True))) for row in rows)

    def count(self, instrument: str) -> int:
        """How many entries the instrument of this id has."""
        with self._reading() as connection:
            sql = "SELECT count(*) FROM entry WHERE instrument = ?"
            return int(connection.execute(sql, (instrument,)).fetchone()[0])

    def content(self, digest: str) -> bytes:
        """The content of this digest. Errors: Refused when it is missing or damaged."""
        with self._reading() as connection:
            row = connection.execute(
                "SELECT packed, bytes FROM content WHERE digest = ?", (digest,)
            ).fetchone()
        content = None if row is None else zlib.decompress(row[1]) if row[0] else bytes(row[1])
        if content is None or digest_of(content) != digest:
            raise refuse("content-damaged", str(self.path), say("book.damaged"))
        return content

    def faults(self) -> tuple[str, ...]:
        """What a check of the whole file finds; empty when it is sound."""
        with self._reading() as connection:
            found = [str(r[0]) for r in connection.execute("PRAGMA integrity_check").fetchall()]
            loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        return tuple(f for f in found if f != "ok") + tuple(map(str, loose))

    def copy_to(self, target: Path) -> None:
        """A whole copy at `target` (replaced if there), while the book stays in use. A plain copy
        of an open book would lose what still lies in its log. Errors: Refused."""
        fresh = target.with_name(f".{target.name}.new-{os.getpid()}")
        with _refusing(target):
            try:
                target.parent.mkdir(parents=True, exist_ok=True)
                with contextlib.closing(sqlite3.connect(fresh)) as other:
                    with self._reading() as connection:
                        connection.backup(other)
                    other.execute("PRAGMA journal_mode=DELETE")
                _flushed(fresh)
                os.replace(fresh, target)
                _flushed(target.parent)
            finally:
                fresh.unlink(missing_ok=True)

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._lock, _refusing(self.path):
            yield self._connection

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is on the disk afterwards, or nothing."""
        if not self.writable:
            raise refuse("book-read-only", str(self.path), say("book.read_only"))
        with self._lock, _refusing(self.path), _transaction(self._connection):
            yield self._connection


def open_book(
    path: Path, *, write: bool = True, migrations: Iterable[Migration] = MIGRATIONS
) -> Book:
    """Opens the book at `path`; made new when it is not there and `write` is asked for.

    A book of an earlier version is brought forward, after a copy of it was laid beside it. Where
    the disk cannot be written to the book opens for reading. Errors: Refused for a newer version, a
    file that is no book, a damaged one.
    """
    steps = tuple(migrations)
    there = path.exists()
    if not there and not write:
        raise refuse("no-book", str(path), say("book.no_book"))
    with _refusing(path):
        if not there:
            path.parent.mkdir(parents=True, exist_ok=True)
        free = not there or (os.access(path, os.W_OK) and _may_write(path.parent))
        writable = write and free
        connection = _connect(path, "rwc" if writable else "ro", immutable=not free)
    try:
        book = Book(path, connection, writable=writable)
        with _refusing(path):
            _check(book, steps, there=there)
            if writable:
                connection.execute("PRAGMA journal_mode=WAL")
                _bring_forward(book, steps, there=there)
    except BaseException:
        connection.close()
        raise
    return book


def set_aside(path: Path, aside: Path) -> None:
    """Moves a book, sound or not, out of the way, with its log. Errors: Refused."""
    with _refusing(path):
        for suffix in ("", "-wal", "-shm"):
            part = path.with_name(path.name + suffix)
            if part.exists():
                os.replace(part, aside.with_name(aside.name + suffix))


def digest_of(content: bytes) -> str:
    """SHA-256 of the content, hex: its name in the book."""
    return hashlib.sha256(content).hexdigest()


def _connect(path: Path, mode: str, *, immutable: bool) -> sqlite3.Connection:
    # on a disk that cannot be written to no log can be opened beside the book; elsewhere the log
    # holds the newest entries and must be read
    uri = f"{path.absolute().as_uri()}?mode={mode}{'&immutable=1' if immutable else ''}"
    connection = sqlite3.connect(
        uri, uri=True, timeout=_WAIT_S, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA trusted_schema=OFF")
    return connection


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK) and not os.statvfs(folder).f_flag & os.ST_RDONLY


def _check(book: Book, steps: tuple[Migration, ...], *, there: bool) -> None:
    """Errors: Refused for a file that is not a book of ours, or of a later version."""
    connection = book._connection
    mark, version = _number(connection, "application_id"), book.version
    empty = not connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if there and mark != APPLICATION_ID and not (empty and version == 0 and book.writable):
        raise refuse("not-a-book", str(book.path), say("book.not_a_book"))
    latest = steps[-1].to
    if version > latest:
        sentence = say("book.newer", version=str(version), latest=str(latest))
        raise refuse("book-newer", str(book.path), sentence)
    if version < latest and not book.writable:
        raise refuse("book-read-only", str(book.path), say("book.read_only"))


def _bring_forward(book: Book, steps: tuple[Migration, ...], *, there: bool) -> None:
    """Runs the steps that are missing, each in a transaction; of two programs one does it."""
    if there and 0 < book.version < steps[-1].to:
        beside = book.path.with_name(f"{book.path.name}.before-version-{steps[-1].to}")
        if not beside.exists():
            book.copy_to(beside)
    for step in steps:
        with _transaction(book._connection):
            if book.version < step.to:
                for statement in step.statements:
                    book._connection.execute(statement)
                book._connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
                book._connection.execute(f"PRAGMA user_version={step.to}")


@contextlib.contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


@contextlib.contextmanager
def _refusing(place: Path) -> Iterator[None]:
    """Turns what SQLite or the disk says into one sentence about `place`."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        raise _refusal(error, place) from error


def _refusal(error: sqlite3.Error | OSError, place: Path) -> Refused:
    if isinstance(error, OSError):
        cause = os.strerror(error.errno).lower() if error.errno else str(error)
        return refuse("book-unwritable", str(place), say("store.unwritable", cause=cause))
    code = getattr(error, "sqlite_errorcode", 0)
    plain = code & 0xFF
    if code in _FULL or plain == sqlite3.SQLITE_FULL:
        return refuse("disk-full", str(place), say("book.full"))
    if code in _BUSY or plain == sqlite3.SQLITE_BUSY:
        return refuse("book-busy", str(place), say("book.busy"))
    if plain in _SHUT:
        return refuse("book-unwritable", str(place), say("store.unwritable", cause=str(error)))
    if isinstance(error, sqlite3.IntegrityError):
        return refuse("entry-aims-at-nothing", str(place), say("book.aims_at_nothing"))
    if plain == sqlite3.SQLITE_NOTADB:
        return refuse("not-a-book", str(place), say("book.not_a_book"))
    if plain == sqlite3.SQLITE_CORRUPT:
        return refuse("book-damaged", str(place), say("book.damaged"))
    raise error


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    return int(connection.execute(f"PRAGMA {pragma}").fetchone()[0])


def _packed(content: bytes) -> tuple[int, bytes]:
    """(1, squeezed) where that saves a good part, else (0, as it is)."""
    squeezed = zlib.compress(content, 6)
    return (1, squeezed) if len(squeezed) < 0.9 * len(content) else (0, content)


def _flushed(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
